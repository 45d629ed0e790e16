package outbox

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"maps"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// pooledClay is what a studio keeps of one clay and the bodies of its collector. What other studios tell stays in
// force without the collector.
type pooledClay struct {
	Body    wire.CatalogueBody `json:"body"`
	Send    bool               `json:"send"` // its owner said yes
	Sent    string             `json:"sent"` // the last body that was sent, as it went; empty: none is there
	Told    *wire.PoolAnswer   `json:"told,omitempty"`
	Refused string             `json:"refused,omitempty"` // in a sentence
}

const bodiesFile = "bodies.json"

// readBodies gives an empty map where none was picked.
func readBodies(folder string) (map[tiles.ClayID]pooledClay, error) {
	all := map[tiles.ClayID]pooledClay{}
	data, err := os.ReadFile(filepath.Join(folder, bodiesFile))
	if errors.Is(err, fs.ErrNotExist) {
		return all, nil
	}
	if err == nil {
		err = json.Unmarshal(data, &all)
	}
	if err != nil {
		return map[tiles.ClayID]pooledClay{}, fmt.Errorf("read which bodies the clays are: %w", err)
	}
	return all, nil
}

// keepBodies puts what is known of bodies in force and writes it down.
func (o *Outbox) keepBodies(all map[tiles.ClayID]pooledClay) error {
	data, err := json.MarshalIndent(all, "", "  ")
	if err == nil {
		err = writeWhole(filepath.Join(o.Folder, bodiesFile), data)
	}
	if err != nil {
		return fmt.Errorf("keep which bodies the clays are: %w", err)
	}
	o.mu.Lock()
	o.bodies = all
	o.mu.Unlock()
	return nil
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
	j := wire.ClayPool{Send: b.Send, LastBody: b.Sent, Trouble: b.Refused}
	if b.Body.ID != "" {
		j.Body = &b.Body
	}
	if t := b.Told; t != nil {
		j.Told = &wire.BodyTold{Studios: t.Studios, Made: t.Made, Unlike: t.Unlike}
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
	return all.Items, nil
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

// SetClayBody says which body of the catalogue a clay is, and whether what its bars tell may be sent. Without a
// body it is none of them any more: what was sent is taken back, and what others tell is not used.
func (o *Outbox) SetClayBody(ctx context.Context, clay tiles.ClayID, body string, send bool) error {
	o.pool.Lock()
	defer o.pool.Unlock()
	all := o.picked()
	now := all[clay]
	if body != "" && now.Body.ID != body {
		catalogue, err := o.Bodies(ctx)
		if err != nil {
			return err
		}
		at := slices.IndexFunc(catalogue, func(b wire.CatalogueBody) bool { return b.ID == body && b.Became == "" })
		if at < 0 {
			return &tiles.Invalid{Type: "unknown-value", Field: "body",
				Why: message.New("no such body in the collector's catalogue")}
		}
		if err := o.takeBack(ctx, now); err != nil {
			return err
		}
		now = pooledClay{Body: catalogue[at]}
	}
	if now.Sent != "" && (!send || body == "") {
		if err := o.takeBack(ctx, now); err != nil {
			return err
		}
		now.Sent = ""
	}
	now.Send = send
	if body == "" {
		delete(all, clay)
	} else {
		all[clay] = now
	}
	if err := o.keepBodies(all); err != nil {
		return err
	}
	o.PoolsChanged()
	select {
	case o.tellPool <- struct{}{}:
	default:
	}
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
	if err := c.send(ctx, http.MethodDelete, "/v1/studios/"+site+"/bodies/"+url.PathEscape(b.Body.ID), "", nil, false, nil); err != nil {
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

// poolTurn tells of each clay that may be told, and asks what others tell. Where the collector does not answer,
// what it told before stays.
func (o *Outbox) poolTurn(ctx context.Context) {
	o.pool.Lock()
	defer o.pool.Unlock()
	all := o.picked()
	if len(all) == 0 {
		return
	}
	c, site, err := o.asker(ctx)
	if err != nil {
		return // none is joined: what was told stays in force
	}
	defer c.close()
	changed, news := false, false
	for clay, was := range all {
		now := was
		now.Refused = ""
		if err := o.poolClay(ctx, c, site, clay, &now); err != nil {
			slog.Info("a body is told of later", "clay", clay, "err", err)
			now.Refused = message.Stopped(message.Of(err)).String()
		}
		changed = changed || now.Sent != was.Sent || now.Refused != was.Refused
		if now.Told != was.Told && (was.Told == nil || now.Told == nil || !now.Told.Made.Equal(was.Told.Made)) {
			changed, news = true, true
		}
		all[clay] = now
	}
	if !changed {
		return
	}
	if err := o.keepBodies(all); err != nil {
		slog.Warn("what other studios tell is not kept", "err", err)
		return
	}
	if news {
		o.PoolsChanged()
	}
}

// poolClay does so for one clay.
func (o *Outbox) poolClay(ctx context.Context, c *client, site string, clay tiles.ClayID, b *pooledClay) error {
	path := "/v1/studios/" + site + "/bodies/" + url.PathEscape(b.Body.ID)
	if b.Send {
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
	var told wire.PoolAnswer
	err := c.send(ctx, http.MethodGet, path+"/pool?model="+url.QueryEscape(o.ShrinkModel), "", nil, false,
		&told)
	var no *refused
	switch {
	case errors.As(err, &no) && no.Why == "too-few":
		b.Told = nil
		return nil
	case err != nil:
		return err
	}
	if b.Told == nil || !told.Made.Equal(b.Told.Made) {
		b.Told = &told
	}
	return nil
}
