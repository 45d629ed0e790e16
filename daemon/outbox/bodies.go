package outbox

import (
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// pooledClay is what is known of one clay and the bodies of its collector.
type pooledClay struct {
	wire.KeptBody
	refused string // why nothing could be sent or asked last, in a sentence
}

// ReadBodies takes in what is kept of bodies; without it nothing of other studios is used.
func (o *Outbox) ReadBodies(ctx context.Context) error {
	kept, err := o.Store.ClayBodies(ctx)
	if err != nil {
		return err
	}
	all := map[tiles.ClayID]pooledClay{}
	for _, b := range kept {
		all[tiles.ClayID(b.Clay)] = pooledClay{KeptBody: b}
	}
	_, life, err := o.Store.Site(ctx)
	o.mu.Lock()
	o.bodies, o.life = all, life
	o.mu.Unlock()
	return err
}

// BodiesCarried says that somebody else wrote into the store, as carry take does: what it holds of bodies is
// read before anything else is done with them.
func (o *Outbox) BodiesCarried() {
	o.carried.Store(true)
	o.nudge()
}

// nudge has the next turn begin now.
func (o *Outbox) nudge() {
	select {
	case o.tellPool <- struct{}{}:
	default:
	}
}

// takeCarried reads what somebody else wrote, if anybody did. The caller holds pool.
func (o *Outbox) takeCarried(ctx context.Context) {
	if !o.carried.Swap(false) {
		return
	}
	if err := o.ReadBodies(ctx); err != nil {
		slog.Warn("what other studios tell is not read", "err", err)
		o.carried.Store(true)
		return
	}
	o.PoolsChanged()
}

// keepBodies puts what is known of bodies in force and writes it down.
func (o *Outbox) keepBodies(ctx context.Context, all map[tiles.ClayID]pooledClay) error {
	kept := make([]wire.KeptBody, 0, len(all))
	for _, clay := range slices.Sorted(maps.Keys(all)) {
		one := all[clay].KeptBody
		one.Clay = string(clay)
		kept = append(kept, one)
	}
	if err := o.Store.SaveClayBodies(ctx, kept); err != nil {
		return err
	}
	o.mu.Lock()
	o.bodies = all
	o.mu.Unlock()
	return nil
}

// sends reports whether the owner said yes in this life of the record. A yes of a copy that was put back may
// have been taken back since.
func (o *Outbox) sends(b pooledClay) bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	return b.YesLife != "" && b.YesLife == o.life
}

// picked is a copy of what is known of bodies.
func (o *Outbox) picked() map[tiles.ClayID]pooledClay {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.bodies == nil {
		return map[tiles.ClayID]pooledClay{}
	}
	return maps.Clone(o.bodies)
}

// Pools is what other studios tell, by clay.
func (o *Outbox) Pools() map[tiles.ClayID]wire.PoolAnswer {
	out := map[tiles.ClayID]wire.PoolAnswer{}
	for clay, b := range o.picked() {
		if b.Told != nil {
			out[clay] = *b.Told
		}
	}
	return out
}

// ClayBody is how one clay stands to the bodies of the collector.
func (o *Outbox) ClayBody(clay tiles.ClayID) wire.ClayPool {
	b := o.picked()[clay]
	j := wire.ClayPool{Send: o.sends(b), LastBody: b.Sent, Trouble: b.refused,
		Proposed: []wire.CatalogueBody{}}
	j.YesAgain = b.YesLife != "" && !j.Send
	if b.Body.ID != "" {
		j.Body = &b.Body
	}
	if t := b.Told; t != nil {
		j.Told = &wire.BodyTold{Studios: t.Studios, Made: t.Made, Unlike: t.Unlike,
			Advice: []message.Message{}}
	}
	return j
}

// Bodies asks the collector for its catalogue. A *tiles.Invalid says in words why it cannot be had.
func (o *Outbox) Bodies(ctx context.Context) ([]wire.CatalogueBody, error) {
	c, site, err := o.asker(ctx)
	if err != nil {
		return nil, err
	}
	defer c.close()
	var all wire.Catalogue
	if err := c.send(ctx, http.MethodGet, "/v1/studios/"+site+"/bodies", "", nil, false, &all); err != nil {
		return nil, &tiles.Invalid{Type: "unknown-value", Field: "body",
			Why: message.Stopped(message.Of(err))}
	}
	o.mu.Lock()
	o.catalogue = all.Items
	o.mu.Unlock()
	return all.Items, nil
}

// KnownBodies is the catalogue as it was heard last; nobody is asked.
func (o *Outbox) KnownBodies() []wire.CatalogueBody {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.catalogue
}

// asker is a way to the collector that is joined, whatever purposes are said yes to.
func (o *Outbox) asker(ctx context.Context) (*client, string, error) {
	o.mu.Lock()
	j := o.joined
	o.mu.Unlock()
	if j.URL == "" {
		return nil, "", &tiles.Invalid{Type: "unknown-value", Field: "body",
			Why: message.New("No collector is joined; join one first.")}
	}
	site, _, err := o.Store.Site(ctx)
	if err != nil {
		return nil, "", err
	}
	c, err := newClient(j, o.Patience)
	return c, site, err
}

// SetClayBody says which body of the catalogue a clay is, and whether what its bars tell may be sent. Without
// a body it is none of them any more: what was sent is taken back, and what others tell is not used.
func (o *Outbox) SetClayBody(ctx context.Context, clay tiles.ClayID, body string, send bool) error {
	o.pool.Lock()
	defer o.pool.Unlock()
	o.takeCarried(ctx)
	all := o.picked()
	now := all[clay]
	var err error
	if body != "" && now.Body.ID != body {
		catalogue, err := o.Bodies(ctx)
		if err != nil {
			return err
		}
		at := slices.IndexFunc(catalogue, func(b wire.CatalogueBody) bool {
			return b.ID == body && b.Became == ""
		})
		if at < 0 {
			return &tiles.Invalid{Type: "unknown-value", Field: "body",
				Why: message.New("no such body in the collector's catalogue")}
		}
		if err := o.takeBack(ctx, now); err != nil {
			return err
		}
		now = pooledClay{KeptBody: wire.KeptBody{Body: catalogue[at]}}
	}
	if now.Sent != "" && (!send || body == "") {
		if err := o.takeBack(ctx, now); err != nil {
			return err
		}
		now.Sent = ""
	}
	now.YesLife = ""
	if send {
		if _, now.YesLife, err = o.Store.Site(ctx); err != nil {
			return err
		}
		o.mu.Lock()
		o.life = now.YesLife
		o.mu.Unlock()
	}
	if body == "" {
		delete(all, clay)
	} else {
		all[clay] = now
	}
	if err := o.keepBodies(ctx, all); err != nil {
		return err
	}
	o.PoolsChanged()
	o.nudge()
	return nil
}

// takeBack has the collector delete what was sent of a body.
func (o *Outbox) takeBack(ctx context.Context, b pooledClay) error {
	if b.Sent == "" {
		return nil
	}
	c, site, err := o.asker(ctx)
	if err != nil {
		return err
	}
	defer c.close()
	if err := c.send(ctx, http.MethodDelete, "/v1/studios/"+site+"/bodies/"+url.PathEscape(b.Body.ID), "",
		nil, false, nil); err != nil {
		return &tiles.Invalid{Type: "unknown-value", Field: "send",
			Why: message.New("the collector did not delete what was sent: {1}", message.Of(err))}
	}
	return nil
}

// runPool sends and asks about bodies, once in PoolEach and when something was picked, until ctx ends.
func (o *Outbox) runPool(ctx context.Context) {
	for ctx.Err() == nil {
		o.poolTurn(ctx)
		select {
		case <-ctx.Done():
		case <-o.tellPool:
		case <-time.After(o.PoolEach):
		}
	}
}

// poolTurn tells of each clay that may be told, and asks what others tell. Where the collector does not
// answer, what it told before stays.
func (o *Outbox) poolTurn(ctx context.Context) {
	o.pool.Lock()
	defer o.pool.Unlock()
	o.takeCarried(ctx)
	all := o.picked()
	c, site, err := o.asker(ctx)
	if err != nil {
		return // none is joined: what was told stays in force
	}
	defer c.close()
	if _, err := o.Bodies(ctx); err != nil {
		slog.Info("the bodies of the collector are asked for later", "err", err)
	}
	changed, news := false, false
	for clay, was := range all {
		now := was
		now.refused = ""
		if now.Sent != "" && !o.sends(now) { // sent after a yes that may have been taken back since
			if err := o.takeBack(ctx, now); err == nil {
				now.Sent = ""
			}
		}
		if err := o.poolClay(ctx, c, site, clay, &now); err != nil {
			slog.Info("a body is told of later", "clay", clay, "err", err)
			now.refused = message.Stopped(message.Of(err)).String()
		}
		changed = changed || now.Sent != was.Sent || now.refused != was.refused
		if now.Told != was.Told && (was.Told == nil || now.Told == nil || !sameTold(*now.Told, *was.Told)) {
			changed, news = true, true
		}
		all[clay] = now
	}
	if !changed {
		return
	}
	if err := o.keepBodies(ctx, all); err != nil {
		slog.Warn("what other studios tell is not kept", "err", err)
		return
	}
	if news {
		o.PoolsChanged()
	}
}

// poolClay does so for one clay.
func (o *Outbox) poolClay(ctx context.Context, c *client, site string, clay tiles.ClayID,
	b *pooledClay) error {
	path := "/v1/studios/" + site + "/bodies/" + url.PathEscape(b.Body.ID)
	if o.sends(*b) {
		said, err := o.Summarise(ctx, clay, b.Body.MaturesC)
		if err != nil {
			return err
		}
		if said != nil {
			body, err := json.Marshal(said)
			if err != nil {
				return err
			}
			if string(body) != b.Sent {
				if err := c.send(ctx, http.MethodPut, path, jsonType, body, false, nil); err != nil {
					return err
				}
				b.Sent = string(body)
			}
		}
	}
	told, err := o.toldBy(ctx, c, path)
	if err != nil {
		return err
	}
	if told == nil || b.Told == nil || !sameTold(*told, *b.Told) {
		b.Told = told
	}
	return nil
}

// toldBy is what others tell by the first model by which enough do: while studios come to another model one
// after another, what is told by the one before stays in force. nil: too few tell by any.
func (o *Outbox) toldBy(ctx context.Context, c *client, path string) (*wire.PoolAnswer, error) {
	for _, model := range o.ShrinkModels {
		var told wire.PoolAnswer
		err := c.send(ctx, http.MethodGet, path+"/pool?model="+url.QueryEscape(model), "", nil, false, &told)
		var no *refused
		switch {
		case errors.As(err, &no) && no.Why == "too-few":
		case err != nil:
			return nil, err
		default:
			return &told, nil
		}
	}
	return nil, nil
}

func sameTold(a, b wire.PoolAnswer) bool { return a.Model == b.Model && a.Made.Equal(b.Made) }
