package client

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"lidwright/api/wire"
)

// ErrNotReachable means that no daemon answers at the site's address.
var ErrNotReachable = errors.New("no lidwright answers")

// Client asks a running daemon. Site is its address, such as http://127.0.0.1:8573.
type Client struct {
	Site string
	Code string // bench or owner passcode; empty on a machine that needs none
	// Handler answers in place of a daemon: for a store that none has open. It is asked only; a fact
	// that is sent meets ErrNotReachable.
	Handler http.Handler
	// Trace hears of each request that was answered; nil: nobody asks.
	Trace func(method, url string, status int, took time.Duration)
	// Else gives a Handler where no daemon answers a question; nil: there is none.
	Else func(ctx context.Context) (http.Handler, error)
}

// over is what carries the requests.
func (c *Client) over() *http.Client {
	if c.Handler != nil {
		return &http.Client{Transport: InProcess(c.Handler)}
	}
	return http.DefaultClient
}

// Get asks path with a query. The answer's bytes are given back as they came.
// Errors: *wire.Problem if the daemon refused; ErrNotReachable if there is none.
func (c *Client) Get(ctx context.Context, path string, query url.Values, accept string) ([]byte, error) {
	u := path
	if len(query) > 0 {
		u += "?" + query.Encode()
	}
	return c.do(ctx, http.MethodGet, u, nil, accept)
}

// Put sends a fact. The same fact may be sent again under the same path without harm.
func (c *Client) Put(ctx context.Context, path string, body any) ([]byte, error) {
	return c.do(ctx, http.MethodPut, path, body, "application/json")
}

// Post asks a question that has a body.
func (c *Client) Post(ctx context.Context, path string, body any) ([]byte, error) {
	return c.do(ctx, http.MethodPost, path, body, "application/json")
}

// Delete takes something back.
func (c *Client) Delete(ctx context.Context, path string) ([]byte, error) {
	return c.do(ctx, http.MethodDelete, path, nil, "application/json")
}

func (c *Client) do(ctx context.Context, method, path string, body any, accept string) ([]byte, error) {
	if err := c.onlyRead(method, path); err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, 30*time.Second)
	defer cancel()
	var sent []byte
	if body != nil {
		var err error
		if sent, err = json.Marshal(body); err != nil {
			return nil, fmt.Errorf("write the request: %w", err)
		}
	}
	var resp *http.Response
	for {
		req, err := http.NewRequestWithContext(ctx, method, strings.TrimSuffix(c.Site, "/")+path,
			bytes.NewReader(sent))
		if err != nil {
			return nil, fmt.Errorf("address of the site: %w", err)
		}
		if body != nil {
			req.Header.Set("Content-Type", "application/json")
		}
		if accept != "" {
			req.Header.Set("Accept", accept)
		}
		if c.Code != "" {
			req.Header.Set("Authorization", "Bearer "+c.Code)
		}
		began := time.Now()
		if resp, err = c.over().Do(req); err != nil {
			if c.Handler == nil && c.Else != nil && method == http.MethodGet && ctx.Err() == nil {
				h, elseErr := c.Else(ctx)
				if elseErr != nil {
					return nil, elseErr
				}
				if c.Handler = h; h != nil {
					return c.do(ctx, method, path, body, accept)
				}
			}
			return nil, fmt.Errorf("%w at %s (is it running? lidwright run): %v",
				ErrNotReachable, c.Site, err)
		}
		if c.Trace != nil {
			c.Trace(method, req.URL.String(), resp.StatusCode, time.Since(began))
		}
		if !limited(ctx, resp) {
			break
		}
	}
	defer resp.Body.Close()
	b, err := io.ReadAll(io.LimitReader(resp.Body, 256<<20))
	if err != nil {
		return nil, fmt.Errorf("read the answer of %s: %w", path, err)
	}
	if resp.StatusCode >= 400 {
		var p wire.Problem
		if json.Unmarshal(b, &p) != nil || p.Title.IsZero() {
			return nil, fmt.Errorf("%s answered %s", path, resp.Status)
		}
		return nil, &p
	}
	return b, nil
}

// onlyRead says what a store that no daemon has open cannot do.
func (c *Client) onlyRead(method, path string) error {
	path, _, _ = strings.Cut(path, "?")
	switch {
	case c.Handler == nil:
		return nil
	case method != http.MethodGet:
		return fmt.Errorf("%w, and a store is only read; facts are kept by a daemon: lidwright run",
			ErrNotReachable)
	case path == "/v1/now" || strings.HasPrefix(path, "/v1/now/") || path == "/v1/lines":
		return fmt.Errorf("%w, and a store does not know what the kilns do now: lidwright run",
			ErrNotReachable)
	}
	return nil
}

const longestWait = 5 * time.Second // for a rate limit; who guessed codes waits longer and is told so

// limited waits as long as a daemon asks that takes no more for now, and reports whether to ask
// again.
func limited(ctx context.Context, resp *http.Response) bool {
	after, err := strconv.Atoi(resp.Header.Get("Retry-After"))
	wait := time.Duration(after) * time.Second
	if resp.StatusCode != http.StatusTooManyRequests || err != nil || wait < 0 || wait > longestWait {
		return false
	}
	if until, ok := ctx.Deadline(); ok && time.Until(until) < wait {
		return false
	}
	io.Copy(io.Discard, io.LimitReader(resp.Body, 64<<10))
	resp.Body.Close()
	select {
	case <-ctx.Done():
	case <-time.After(wait):
	}
	return true
}
