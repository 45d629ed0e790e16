package notice

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"net/http"
	"strconv"
	"time"
)

// Webhook posts messages as JSON to an address.
type Webhook struct {
	URL      string
	Secret   []byte           // signs what is sent; none: not signed
	Now      func() time.Time // that the signature carries
	Patience time.Duration    // with one try; 0 means 5 s
}

const usualPatience = 5 * time.Second

// Carry posts one message. Only an answer of 200 to 299 counts as taken; a redirection is not followed.
func (w Webhook) Carry(ctx context.Context, d Delivery) (answer string, taken bool) {
	patience := w.Patience
	if patience == 0 {
		patience = usualPatience
	}
	client := &http.Client{Timeout: patience, CheckRedirect: func(*http.Request, []*http.Request) error {
		return http.ErrUseLastResponse
	}}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, w.URL, bytes.NewReader(d.Body))
	if err != nil {
		return "the address cannot be used", false
	}
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("User-Agent", "lidwright")
	if len(w.Secret) > 0 {
		at := strconv.FormatInt(w.Now().Unix(), 10)
		req.Header.Set("Lidwright-Time", at)
		req.Header.Set("Lidwright-Signature", "sha256="+Sign(w.Secret, at, d.Body))
	}
	res, err := client.Do(req)
	if err != nil {
		if ctx.Err() != nil {
			return "", false
		}
		return "no answer", false // the error would name the address, and with it a key
	}
	defer res.Body.Close()
	io.Copy(io.Discard, io.LimitReader(res.Body, 64<<10)) // so that the connection can be used again
	return strconv.Itoa(res.StatusCode), res.StatusCode >= 200 && res.StatusCode < 300
}

// Sign is the hex HMAC-SHA256 (RFC 2104) of the time, a point and the body under the secret.
func Sign(secret []byte, at string, body []byte) string {
	h := hmac.New(sha256.New, secret)
	h.Write([]byte(at))
	h.Write([]byte("."))
	h.Write(body)
	return hex.EncodeToString(h.Sum(nil))
}
