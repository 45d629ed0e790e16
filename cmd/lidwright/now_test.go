package main

import (
	"bytes"
	"context"
	"errors"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/spf13/cobra"
)

// TestWatched: it says it anew until the command is stopped, which is its good end; what goes wrong ends it.
func TestWatched(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	var out bytes.Buffer
	c := &cobra.Command{}
	c.SetContext(ctx)
	c.SetOut(&out)
	said := 0
	err := watched(c, func() error {
		if said++; said == 2 {
			stop()
			return ctx.Err()
		}
		return nil
	})
	if err != nil || said != 2 || out.Len() != 0 {
		t.Errorf("%v after %d times, %q", err, said, out.String())
	}
	c.SetContext(t.Context())
	gone := errors.New("gone")
	if err := watched(c, func() error { return gone }); !errors.Is(err, gone) {
		t.Errorf("trouble: %v", err)
	}
}

// TestSiteIsHostAndPort: --site takes a host and a port without a scheme.
func TestSiteIsHostAndPort(t *testing.T) {
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		w.Write([]byte(`{"items":[{"kiln":"big-blue","state":"rising","temperature_c":612.4,"read_age_s":3}]}`))
	}))
	defer srv.Close()
	root := rootCommand()
	var out bytes.Buffer
	root.SetOut(&out)
	root.SetArgs([]string{"now", "--site", strings.TrimPrefix(srv.URL, "http://")})
	if err := root.ExecuteContext(t.Context()); err != nil || !strings.Contains(out.String(),
		"big-blue  rising") {
		t.Errorf("%v: %s", err, out.String())
	}
}
