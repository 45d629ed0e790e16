package client

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"lidwright/api/wire"
)

const tableWait = 2*time.Minute + 10*time.Second // what a daemon takes for a large table, and its way there

// Table sends a table (CSV) and gives the outcome as it came. told hears how far it is; nil: nobody
// asks. The errors are those of Get; a table with bad rows is no error, the outcome names them.
func (c *Client) Table(ctx context.Context, path string, query url.Values, table string,
	told func(done, of int)) ([]byte, error) {
	if err := c.onlyRead(http.MethodPost, path); err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, tableWait)
	defer cancel()
	if strings.HasSuffix(path, "/import") {
		query.Set("progress", "true")
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost,
		strings.TrimSuffix(c.Site, "/")+path+"?"+query.Encode(), strings.NewReader(table))
	if err != nil {
		return nil, fmt.Errorf("address of the site: %w", err)
	}
	req.Header.Set("Content-Type", "text/csv")
	if c.Code != "" {
		req.Header.Set("Authorization", "Bearer "+c.Code)
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return nil, fmt.Errorf("%w at %s (is it running? lidwright run): %v", ErrNotReachable, c.Site, err)
	}
	defer resp.Body.Close()
	lines := bufio.NewScanner(resp.Body)
	lines.Buffer(nil, 64<<20)
	var last []byte
	for lines.Scan() {
		last = append(last[:0], lines.Bytes()...)
		var p struct{ Done, Of int }
		if json.Unmarshal(last, &p) == nil && p.Of > 0 && told != nil {
			told(p.Done, p.Of)
		}
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("read the answer of %s: %w", path, err)
	}
	var p wire.Problem
	if json.Unmarshal(last, &p) == nil && !p.Title.IsZero() {
		return nil, &p
	}
	var whole wire.Import
	if err := json.Unmarshal(last, &whole); err != nil {
		return nil, fmt.Errorf("%s answered %s, and the answer breaks off: look at the bars before you send it again", path, resp.Status)
	}
	return last, nil
}
