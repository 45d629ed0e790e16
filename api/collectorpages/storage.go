package collectorpages

import (
	"context"
	"errors"
	"fmt"
	"time"

	"lidwright/api/wire"
)

// Errors of the records of studios.
var (
	ErrBusy      = errors.New("the database does not take it now")
	ErrNoSite    = errors.New("no such studio")
	ErrNoKey     = errors.New("this collector does not know the key; its owner can let the studio in again")
	ErrElsewhere = errors.New("the key is another studio's")
	ErrForgotten = errors.New("this collector was told to forget the studio; where that was a mistake, join again with a new code")
	ErrNoCode    = errors.New("the code is not known here, was used already, or is older than a day")
	ErrThere     = errors.New("a studio of this record is here already; the collector's owner can make a code for it: lidwright-collect studio readmit")
	ErrLater     = errors.New("a later one is there")
	// ErrFork: nothing was kept, and nothing will be until the owner lets one of the two in again.
	ErrFork = errors.New("two machines say that they are this studio; nothing of either is taken until the collector's owner says which holds: lidwright-collect studio readmit")
	// ErrWrong wraps what no studio sends.
	ErrWrong = errors.New("this is nothing that a studio sends")
)

// Gap is an error: the collector has less than the studio believes.
type Gap struct{ Have int64 }

func (g Gap) Error() string { return fmt.Sprintf("begin after change %d", g.Have) }

// Taken is what a push came to.
type Taken struct {
	Have  int64
	Want  []string
	Fresh int // facts that were not there
}

// Site is a studio as the collector knows it.
type Site struct {
	ID      string
	Name    string
	Life    string
	Have    int64 // changes of it that are there
	Last    int64 // its newest change, as it said last
	Seen    time.Time
	Forked  time.Time // zero: no
	Revoked time.Time // zero: no
	Open    bool      // waits for the first key that comes
	Anew    bool      // its record went back and is sent anew
	Version string
}

// Behind is how many of its changes are not there.
func (s Site) Behind() int64 { return max(0, s.Last-s.Have) }

// Live is what one kiln did when it was heard last.
type Live struct {
	Site, Studio string
	Silent       time.Duration // since it arrived
	wire.LiveKiln
}

// Record takes what studios send.
type Record interface {
	Ready(ctx context.Context) error
	Comes(ctx context.Context, site, token string) error
	Join(ctx context.Context, code, site, life, version string) (token, name string, err error)
	Push(ctx context.Context, site string, p *wire.Push) (Taken, error)
	PutCurve(ctx context.Context, site, firing string, revision, sum int64, data []byte) error
	PutLive(ctx context.Context, site string, l *wire.LivePush) error
	Forget(ctx context.Context, site string) error
}

// Kept is the record of a studio as it was sent.
type Kept interface {
	Facts(ctx context.Context, site, life string, after int64, limit int) ([]wire.PushFact, error)
	Boots(ctx context.Context, site, life string) ([]wire.PushBoot, error)
	Firings(ctx context.Context, site, life string, limit int) ([]wire.SentFiring, error)
	Curve(ctx context.Context, site, life, firing string) ([]byte, error)
}

// Shown is what the pages show.
type Shown interface {
	Sites(ctx context.Context) ([]Site, error)
	Site(ctx context.Context, id string) (Site, error)
	Kilns(ctx context.Context) ([]Live, error)
	RunningSums(ctx context.Context) (map[string]int64, error)
	CurvesOf(ctx context.Context, firings []string) (map[string][]byte, error)
	Firings(ctx context.Context, site, life string, limit int) ([]wire.SentFiring, error)
	Curve(ctx context.Context, site, life, firing string) ([]byte, error)
	Session(ctx context.Context, cookie string) (mark string, err error)
	KeepSession(ctx context.Context, cookie, mark string, lasts time.Duration) error
	EndSession(ctx context.Context, cookie string) error
}
