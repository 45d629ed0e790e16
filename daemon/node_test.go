package daemon

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// fromNpm are the tools that make and compile clients in TypeScript, each of one version.
const fromNpm = "@redocly/cli@2.77.0 openapi-typescript@7.13.0 openapi-fetch@0.17.0 @hey-api/openapi-ts@0.85.0 typescript@5.9.3"

// TestClientsByNode: redocly finds no fault with the document by its recommended rules, and clients that
// openapi-fetch (which joins arrays by commas here) and hey-api make of it compile and are used for a rate, a
// lid and readings. It needs LIDWRIGHT_SOAK, and Node 20.19 or newer with npm, which Debian has from 13 on.
// The lid is case S1 of lids.csv.
func TestClientsByNode(t *testing.T) {
	if os.Getenv("LIDWRIGHT_SOAK") == "" {
		return
	}
	b := newHeatBench(t)
	b.run()
	folder := t.TempDir()
	status, document := b.ask("GET", "/v1/openapi.json", nil, nil)
	if status != 200 {
		t.Fatalf("the document: %d", status)
	}
	use, err := os.ReadFile("testdata/client.ts")
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{"openapi.json": document, "client.ts": string(use),
		"package.json": `{"private": true}`,
		"tsconfig.json": `{"compilerOptions": {"target": "es2022", "module": "commonjs", "moduleResolution": "node10", "strict": true,
  "skipLibCheck": true, "outDir": "out", "types": [], "lib": ["es2022", "dom", "dom.iterable"], "esModuleInterop": true}, "include": ["client.ts"]}`} {
		if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	shell := func(script string) string {
		t.Helper()
		run := exec.CommandContext(t.Context(), "sh", "-ec", script)
		run.Dir = folder
		run.Env = append(os.Environ(), "PATH="+filepath.Join(folder, "node_modules/.bin")+":"+os.Getenv("PATH"))
		out, err := run.CombinedOutput()
		if err != nil {
			t.Fatalf("%s: %v\n%s", script, err, out)
		}
		return string(out)
	}
	shell(`node -e 'const [a, b] = process.versions.node.split("."); if (a < 20 || a == 20 && b < 19) { console.log("Node 20.19 or newer is needed, this is", process.version); process.exit(1) }'`)
	shell("npm install --no-audit --no-fund --ignore-scripts " + fromNpm)
	lint := shell("redocly lint openapi.json --extends=recommended 2>&1")
	if !strings.Contains(lint, "Your API description is valid") {
		t.Errorf("redocly: %s", lint)
	}
	t.Logf("redocly: %s", regexp.MustCompile(`You have .*|no warnings`).FindString(lint))
	shell("openapi-typescript openapi.json -o schema.d.ts && openapi-ts -i openapi.json -o hey -c @hey-api/client-fetch && tsc -p .")
	got := shell("node out/client.js " + strings.Join([]string{b.site, newUUID(), newUUID(), newUUID()}, " "))
	const want = `reading 100.01
rate tern no_bars
lid 94.2841 2
problem /problems/unknown-clay
reading 94.2
rate tern no_bars
lid 94.2841
`
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}
