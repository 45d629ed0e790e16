package notice

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"time"
)

// Call asks for url every so often while well says that all is, until ctx ends, so that whoever
// waits for the calls notices our own silence. An empty url calls nobody.
func Call(ctx context.Context, url string, every time.Duration, well func() error) error {
	if url == "" {
		return nil
	}
	client := &http.Client{Timeout: 5 * time.Second,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	t := time.NewTicker(every)
	defer t.Stop()
	failing, ill := false, false
	for {
		err := well()
		if was := ill; was != (err != nil) { // a change is worth a line; its lasting is not
			ill = err != nil
			slog.Warn("call to the watcher of our silence", "withheld", ill, "why", err)
		}
		if err != nil {
		} else if ok := call(ctx, client, url); failing == ok && ctx.Err() == nil {
			failing = !ok
			slog.Info("call to the watcher of our silence", "taken", ok)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
		}
	}
}

func call(ctx context.Context, client *http.Client, url string) bool {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		return false
	}
	req.Header.Set("User-Agent", "lidwright")
	res, err := client.Do(req)
	if err != nil {
		return false
	}
	defer res.Body.Close()
	io.Copy(io.Discard, io.LimitReader(res.Body, 64<<10))
	return res.StatusCode >= 200 && res.StatusCode < 300
}
