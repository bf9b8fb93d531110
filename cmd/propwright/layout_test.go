package main

import (
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// A goPackage is what this test asks the Go tool about a package.
type goPackage struct {
	ImportPath   string
	Doc          string
	Imports      []string
	TestImports  []string
	XTestImports []string
	CgoFiles     []string
}

const module = "propwright"

// rooms says which packages of ours each package may import. A room that is not
// listed may import nothing of ours and is an error, so a new one is added here
// on purpose.
func rooms() map[string][]string {
	below := func(own ...string) []string { return append(own, "checklist", "parsers") }
	return map[string][]string{
		"parsers":                   {},
		"serialmon/clock":           {},
		"serialmon":                 {"parsers", "serialmon/clock"},
		"serialmon/serialtest":      {"parsers", "serialmon", "serialmon/clock"},
		"serialmon/virtual":         {"serialmon", "serialmon/clock"},
		"checklist":                 {"parsers"},
		"checklist/checklisttest":   below(),
		"checklist/reach":           below("checklist/reach/estimate", "checklist/reach/field"),
		"checklist/reach/estimate":  {},
		"checklist/reach/field":     {},
		"checklist/link":            below(),
		"checklist/plan":            below(),
		"checklist/diagnose":        below("checklist/reach/estimate"),
		"checklist/report":          below(),
		"checklist/store":           below("checklist/plan"),
		"checklist/store/storetest": below("checklist/plan"),
	}
}

// goList lists the packages of the module.
func goList(t *testing.T) []goPackage {
	t.Helper()
	cmd := exec.Command("go", "list", "-json=ImportPath,Doc,Imports,TestImports,XTestImports,CgoFiles", module+"/...")
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	var packages []goPackage
	for d := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p goPackage
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatalf("go list: %v", err)
		}
		packages = append(packages, p)
	}
	if len(packages) < 5 {
		t.Fatalf("go list found %d packages", len(packages))
	}
	return packages
}

// ours are the imports that lie in this module, without its name.
func ours(imports []string) []string {
	var own []string
	for _, i := range imports {
		if room, ok := strings.CutPrefix(i, module+"/"); ok {
			own = append(own, room)
		}
	}
	return own
}

// Data flows one way: each room imports only what lies before it.
func TestImportDirections(t *testing.T) {
	allowed := rooms()
	for _, p := range goList(t) {
		room := strings.TrimPrefix(p.ImportPath, module+"/")
		may, listed := allowed[room]
		switch {
		case strings.HasPrefix(room, "cmd/"):
			may = nil
			for other := range allowed {
				may = append(may, other)
			}
		case !listed:
			t.Errorf("package %s: no room of that name", room)
			continue
		}
		for _, i := range ours(p.Imports) {
			if !slices.Contains(may, i) {
				t.Errorf("package %s imports %s, which it may not", room, i)
			}
			if strings.HasSuffix(i, "test") && !strings.HasSuffix(room, "test") {
				t.Errorf("package %s imports %s, which is for tests only", room, i)
			}
		}
		// What a test needs beside its package must not turn an arrow round either: the
		// board's texts and the parser's, above all, share nothing.
		for _, i := range ours(append(p.TestImports, p.XTestImports...)) {
			if i != room && !slices.Contains(may, i) && !strings.HasSuffix(i, "test") {
				t.Errorf("the tests of package %s import %s, which it may not", room, i)
			}
		}
	}
}

func TestEveryPackageSaysWhatItIsFor(t *testing.T) {
	for _, p := range goList(t) {
		if len(strings.Fields(p.Doc)) < 5 {
			t.Errorf("package %s: comment %q", p.ImportPath, p.Doc)
		}
		if len(p.CgoFiles) > 0 {
			t.Errorf("package %s: needs cgo for %v", p.ImportPath, p.CgoFiles)
		}
	}
}

// The top level tells the story; what is not in the list goes into a room.
func TestTopLevel(t *testing.T) {
	may := []string{
		".ci", ".git", ".gitignore", "DEVELOPERS.md", "LICENSE", "README.md", "CHANGELOG.md", "go.mod", "go.sum",
		"checklist", "cmd", "parsers", "serialmon", "testdata",
		"demo-run", "dist", "propwright", "propwright.exe", // made by the program and its build, not kept
	}
	entries, err := os.ReadDir("../..")
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if name := e.Name(); !slices.Contains(may, name) && !strings.HasSuffix(name, ".test") && !strings.HasSuffix(name, ".out") {
			t.Errorf("the top level holds %q, which is no room", name)
		}
	}
}
