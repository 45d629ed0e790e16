package main

import (
	"bytes"
	"go/ast"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"lidwright/kiln/practice"
)

// bare is what stands on a machine before make: what the README asks for, beside Debian's own
// essential and required packages. Go is no package.
var bare = []string{"git", "make", "sudo", "ca-certificates"}

// ofSoak are programs that the long campaigns alone start, by their package; they need not be on
// the machine that runs make test.
var ofSoak = map[string]string{"debootstrap": "debootstrap", "mkfs.ext4": "e2fsprogs",
	"fsck.ext4": "e2fsprogs"}

// TestPackagesNeeded holds PACKAGES of the Makefile against what the tests look up: the package of every
// program that a test names in a call of os/exec, and of every Python module that a helper opens, is
// listed or is a dependency of one that is. A recommendation does not count: make installs without.
// What a shell script in a test calls is not seen; TestFresh runs it.
func TestPackagesNeeded(t *testing.T) {
	listed, soak := packagesListed(t)
	programs := programsLookedUp(t)
	if len(programs) < 20 {
		t.Fatalf("only %v: the test does not see the tests", programs)
	}
	var paths []string
	for _, name := range programs {
		switch owner, path := ofSoak[name], programAt(name); {
		case name == "go":
		case owner != "":
			if !slices.Contains(soak, owner) {
				t.Errorf("the soak starts %s, and its PACKAGES have no %s", name, owner)
			}
		case path == "":
			t.Errorf("a test starts %s, which is not here: put its package into PACKAGES", name)
		default:
			paths = append(paths, path)
		}
	}
	helpers, err := filepath.Glob("../../*/*/testdata/*.py")
	if err != nil || len(helpers) == 0 {
		t.Fatalf("no Python helper found: %v", err)
	}
	for _, helper := range helpers {
		var modules []string
		if filepath.Base(helper) == "slave.py" {
			modules = modulesOpened(t, helper)
		} else { // it ends by itself where it is told nothing
			modules = slices.Sorted(maps.Keys(opened(t, nil, helper)))
		}
		if len(modules) == 0 {
			t.Errorf("%s opened no module of a package", helper)
		}
		paths = append(paths, modules...)
	}
	// The collector's tests look PostgreSQL up by its folder, whatever its version is.
	database, err := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	if err != nil || len(database) == 0 {
		t.Errorf("the tests start PostgreSQL, which is not here: put postgresql into PACKAGES (%v)", err)
	}
	paths = append(paths, database...)
	comes := brought(t, paths, dependencies(t, append(slices.Clone(bare), listed...)))
	for _, path := range paths {
		if !comes(path) {
			t.Errorf("a test starts or opens %s, whose package is not in PACKAGES nor comes with one that is",
				path)
		}
	}
}

// packagesListed are those of every target, and those that the soak has beside them.
func packagesListed(t *testing.T) (all, soak []string) {
	t.Helper()
	for _, m := range regexp.MustCompile(`(?m)^(soak[^:]*: )?PACKAGES (?:\+|:)= ?(.*)$`).FindAllStringSubmatch(read(t, "../../Makefile"), -1) {
		if m[1] == "" {
			all = append(all, strings.Fields(m[2])...)
		} else {
			soak = append(soak, strings.Fields(m[2])...)
		}
	}
	if len(all) < 10 || len(soak) == 0 {
		t.Fatalf("the Makefile lists %v and for the soak %v", all, soak)
	}
	return all, soak
}

// programsLookedUp are the words that tests hand to os/exec, themselves or through functions of theirs.
func programsLookedUp(t *testing.T) []string {
	t.Helper()
	files := map[string][]*ast.File{}
	eachFile(t, func(pkg, path string, f *ast.File) {
		if strings.HasSuffix(path, "_test.go") {
			files[pkg] = append(files[pkg], f)
		}
	})
	found := map[string]bool{}
	for _, of := range files {
		l := &lookups{starts: map[string]int{"exec.Command": 0, "exec.CommandContext": 1, "exec.LookPath": 0},
			found: found}
		for before := -1; before < len(l.starts); { // until no more functions are found that start programs
			before = len(l.starts)
			for _, f := range of {
				for _, d := range f.Decls {
					if fn, ok := d.(*ast.FuncDecl); ok && fn.Body != nil {
						l.walk(fn.Name.Name, fn.Type, fn.Body)
					}
				}
			}
		}
	}
	return slices.Sorted(maps.Keys(found))
}

// lookups follows programs through the functions of one package.
type lookups struct {
	starts map[string]int // functions that start a program, and which argument names it
	found  map[string]bool
}

// walk looks at one function.
func (l *lookups) walk(name string, of *ast.FuncType, body *ast.BlockStmt) {
	params := map[string]int{}
	n := 0
	for _, field := range of.Params.List {
		for _, p := range field.Names {
			params[p.Name] = n
			n++
		}
	}
	// what a variable of the function was given, or the keys that it runs over
	holds := map[string][]ast.Expr{}
	var starts func(ast.Expr)
	starts = func(e ast.Expr) {
		switch e := e.(type) {
		case *ast.BasicLit:
			if text, err := strconv.Unquote(e.Value); err == nil {
				l.found[text] = true
			}
		case *ast.Ident:
			if i, ok := params[e.Name]; ok {
				l.starts[name] = i
			}
			given := holds[e.Name]
			delete(holds, e.Name) // x = append(x, y) is no circle
			for _, g := range given {
				starts(g)
			}
			holds[e.Name] = given
		case *ast.IndexExpr:
			starts(e.X)
		case *ast.CompositeLit:
			if len(e.Elts) > 0 {
				starts(e.Elts[0])
			}
		case *ast.CallExpr: // append(x, y), slices.Clone(x)
			if f := calledIn(e); f == "append" || f == "Clone" {
				starts(e.Args[0])
			}
		}
	}
	ast.Inspect(body, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.RangeStmt:
			if written, ok := n.X.(*ast.CompositeLit); ok {
				if key, ok := n.Key.(*ast.Ident); ok {
					for _, e := range written.Elts {
						if pair, ok := e.(*ast.KeyValueExpr); ok {
							holds[key.Name] = append(holds[key.Name], pair.Key)
						}
					}
				}
			}
		case *ast.AssignStmt:
			for i, to := range n.Lhs {
				if i >= len(n.Rhs) {
					break
				}
				if id, ok := to.(*ast.Ident); ok {
					if fn, ok := n.Rhs[i].(*ast.FuncLit); ok {
						l.walk(id.Name, fn.Type, fn.Body)
					} else {
						holds[id.Name] = append(holds[id.Name], n.Rhs[i])
					}
				}
				// a world's daemon runs under it
				if field, ok := to.(*ast.SelectorExpr); ok && field.Sel.Name == "under" {
					starts(n.Rhs[i])
				}
			}
		case *ast.KeyValueExpr:
			if field, ok := n.Key.(*ast.Ident); ok && field.Name == "under" {
				starts(n.Value)
			}
		case *ast.CallExpr:
			if i, ok := l.starts[calledIn(n)]; ok && i < len(n.Args) {
				starts(n.Args[i])
			}
		}
		return true
	})
}

// calledIn is the name of the function that is called, with its package if that is exec.
func calledIn(c *ast.CallExpr) string {
	switch f := c.Fun.(type) {
	case *ast.Ident:
		return f.Name
	case *ast.SelectorExpr:
		if x, ok := f.X.(*ast.Ident); ok && x.Name == "exec" {
			return "exec." + f.Sel.Name
		}
		return f.Sel.Name
	}
	return ""
}

// programAt is where Debian keeps a program, "" if it is not there.
func programAt(name string) string {
	if filepath.IsAbs(name) {
		name = filepath.Base(name)
	}
	for _, folder := range []string{"/usr/bin", "/usr/sbin", "/bin", "/sbin"} {
		if info, err := os.Stat(filepath.Join(folder, name)); err == nil && info.Mode()&0o111 != 0 {
			return filepath.Join(folder, name)
		}
	}
	return ""
}

// brought gives a judge of files and folders: whether a package of those that come owns one, by any of
// the names that it has.
func brought(t *testing.T, paths []string, comes map[string]bool) func(path string) bool {
	t.Helper()
	// dpkg knows a file as it was packed: with /usr or without, behind a link or not
	by := map[string]string{}
	for _, path := range paths {
		by[path], by[strings.TrimPrefix(path, "/usr")] = path, path
		if real, err := filepath.EvalSymlinks(path); err == nil {
			by[real], by[strings.TrimPrefix(real, "/usr")] = path, path
		}
	}
	// an error: not all names are known
	said, err := exec.Command("dpkg-query",
		append([]string{"-S"}, slices.Collect(maps.Keys(by))...)...).Output()
	owned := map[string]bool{}
	for line := range strings.Lines(string(said)) {
		owners, name, _ := strings.Cut(strings.TrimSpace(line), ": ")
		for owner := range strings.SplitSeq(owners, ", ") {
			owner, _, _ = strings.Cut(owner, ":") // the processor
			owned[by[name]] = owned[by[name]] || comes[owner]
		}
	}
	if len(owned) == 0 {
		t.Fatalf("dpkg-query knows none of %v: %v", paths, err)
	}
	return func(path string) bool { return owned[path] }
}

// dependencies are the packages that come with some, and those that every Debian has.
func dependencies(t *testing.T, of []string) map[string]bool {
	t.Helper()
	out, err := exec.Command("dpkg-query", "-W", "-f",
		"${Package}\t${Essential}\t${Priority}\t${Provides}\t${Depends}, ${Pre-Depends}\n").Output()
	if err != nil {
		t.Fatalf("dpkg-query, which every Debian has: %v", err)
	}
	needs, provided := map[string]string{}, map[string][]string{}
	wanted := slices.Clone(of)
	for line := range strings.Lines(string(out)) {
		f := strings.Split(strings.TrimSuffix(line, "\n"), "\t")
		needs[f[0]] = f[4]
		for _, virtual := range namesIn(f[3]) {
			provided[virtual] = append(provided[virtual], f[0])
		}
		if f[1] == "yes" || f[2] == "required" {
			wanted = append(wanted, f[0])
		}
	}
	comes := map[string]bool{}
	for len(wanted) > 0 {
		name := wanted[0]
		wanted = wanted[1:]
		if comes[name] {
			continue
		}
		comes[name] = true
		wanted = append(wanted, provided[name]...)
		for clause := range strings.SplitSeq(needs[name], ",") {
			for _, choice := range namesIn(strings.ReplaceAll(clause, "|", ",")) {
				if _, here := needs[choice]; here || len(provided[choice]) > 0 {
					wanted = append(wanted, choice) // the first that is here is what apt took
					break
				}
			}
		}
	}
	return comes
}

// namesIn are the packages of a field of dpkg without their versions and processors.
func namesIn(field string) []string {
	var names []string
	for part := range strings.SplitSeq(field, ",") {
		if words := strings.Fields(part); len(words) > 0 {
			name, _, _ := strings.Cut(words[0], ":")
			names = append(names, name)
		}
	}
	return names
}

// modulesOpened starts a helper as a slave on a pseudo-terminal and gives the folders and files of
// Python's packages that it opened until it listened, beside those that Python opens by itself.
func modulesOpened(t *testing.T, helper string) []string {
	t.Helper()
	line, err := practice.OpenPty()
	if err != nil {
		t.Fatal(err)
	}
	defer line.Close()
	return slices.Sorted(maps.Keys(opened(t, line.Listened, helper, line.Path, "17")))
}

// opened is what Debian's Python opens among its packages for a program, beside those that it opens by
// itself.
func opened(t *testing.T, done func() bool, args ...string) map[string]bool {
	t.Helper()
	all := traced(t, done, args...)
	for path := range traced(t, nil, "-c", "") {
		delete(all, path)
	}
	return all
}

// traced runs Debian's Python until it ends, or until it has done what is asked, and gives what it
// opened among its packages.
func traced(t *testing.T, done func() bool, args ...string) map[string]bool {
	t.Helper()
	log := filepath.Join(t.TempDir(), "opened")
	var says bytes.Buffer
	cmd := exec.Command("strace", append([]string{"-f", "-qq", "-I", "2", "-e", "trace=open,openat", "-o",
		log, "/usr/bin/python3"}, args...)...)
	cmd.Stdout, cmd.Stderr = &says, &says
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	limit := time.After(5 * time.Minute)
	for going := true; going; {
		select {
		case err := <-ended:
			if done != nil || err != nil {
				t.Fatalf("python3 %v ended: %v\n%s", args, err, says.Bytes())
			}
			going = false
		case <-limit:
			cmd.Process.Signal(syscall.SIGTERM)
			<-ended
			t.Fatalf("python3 %v did nothing in five minutes:\n%s", args, says.Bytes())
		case <-time.After(5 * time.Millisecond):
			if done != nil && done() {
				cmd.Process.Signal(syscall.SIGTERM)
				<-ended
				going = false
			}
		}
	}
	text, err := os.ReadFile(log)
	if err != nil {
		t.Fatal(err)
	}
	opened := map[string]bool{}
	for _, m := range regexp.MustCompile(`"(/usr/lib/python3/dist-packages/[^/"]+)[^"]*", [^)]*\) = \d`).FindAllStringSubmatch(string(text), -1) {
		opened[m[1]] = true
	}
	return opened
}
