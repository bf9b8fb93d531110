package report_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/checklist/report"
)

// validator is a JSON Schema implementation that is none of ours: it prints one
// line for each file, "ok" or the first error.
const validator = `
import json, sys
from jsonschema import Draft202012Validator
schema = json.load(open(sys.argv[1]))
Draft202012Validator.check_schema(schema)
v = Draft202012Validator(schema)
for name in sys.argv[2:]:
    errors = sorted(v.iter_errors(json.load(open(name))), key=str)
    print("ok" if not errors else "refused: " + errors[0].message[:200].replace("\n", " "))
`

// A mutant is a report with one thing wrong.
type mutant struct {
	what string
	text []byte
}

// mutants drops and retypes the keys of a report, each at a place where the
// schema requires it.
func mutants(t *testing.T, good []byte) []mutant {
	t.Helper()
	var all []mutant
	change := func(what string, f func(map[string]any)) {
		var m map[string]any
		if err := json.Unmarshal(good, &m); err != nil {
			t.Fatal(err)
		}
		f(m)
		text, err := json.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, mutant{what, text})
	}
	var top map[string]any
	if err := json.Unmarshal(good, &top); err != nil {
		t.Fatal(err)
	}
	for key := range top {
		change("dropped "+key, func(m map[string]any) { delete(m, key) })
		change("retyped "+key, func(m map[string]any) { m[key] = map[string]any{"not": "this"} })
	}
	step := func(m map[string]any) map[string]any { return m["steps"].([]any)[0].(map[string]any) }
	for key := range step(top) {
		change("dropped steps[0]."+key, func(m map[string]any) { delete(step(m), key) })
		change("retyped steps[0]."+key, func(m map[string]any) { step(m)[key] = true })
	}
	finding := func(m map[string]any) map[string]any { return step(m)["findings"].([]any)[0].(map[string]any) }
	for _, key := range []string{"what", "verdict", "value", "how", "reader", "evidence", "excerpts", "elided"} {
		change("dropped findings[0]."+key, func(m map[string]any) { delete(finding(m), key) })
		change("retyped findings[0]."+key, func(m map[string]any) { finding(m)[key] = true })
	}
	change("key too many", func(m map[string]any) { m["extra"] = 1 })
	change("key too many in a step", func(m map[string]any) { step(m)["extra"] = 1 })
	change("verdict of no known word", func(m map[string]any) { step(m)["verdict"] = "fine" })
	change("time not in UTC", func(m map[string]any) { m["issued"] = "2026-11-25T10:15:00+01:00" })
	change("file in another folder", func(m map[string]any) { m["files"].([]any)[0].(map[string]any)["name"] = "../x" })
	return all
}

func TestSchemaHoldsAndRefuses(t *testing.T) {
	dir, _ := bundle(t)
	good := read(t, dir, report.FileReport)
	if err := report.Validate(good); err != nil {
		t.Fatal(err)
	}
	for _, m := range mutants(t, good) {
		err := report.Validate(m.text)
		if err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: Validate = %v; want an error of one line", m.what, err)
		}
	}
}

// The same reports before an implementation that is not the one we use.
func TestSchemaBeforeAnIndependentValidator(t *testing.T) {
	python := "/usr/bin/python3"
	if out, err := exec.CommandContext(t.Context(), python, "-c", "import jsonschema").CombinedOutput(); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("jsonschema for Python: %s; Debian package python3-jsonschema", out)
		}
		t.Skip("jsonschema for Python: not found; Debian package python3-jsonschema")
	}
	dir, _ := bundle(t)
	good := read(t, dir, report.FileReport)
	work := t.TempDir()
	put(t, work, "schema.json", report.Schema())
	args := []string{"-c", validator, filepath.Join(work, "schema.json")}
	told, _ := storyBundle(t)
	all := append([]mutant{{"the report", good}, {"the bench report", read(t, dir, "bench.report.json")}, {"one with a story", read(t, told, report.FileReport)}}, mutants(t, good)...)
	for i, m := range all {
		name := fmt.Sprintf("%d.json", i)
		put(t, work, name, m.text)
		args = append(args, filepath.Join(work, name))
	}
	out, err := exec.CommandContext(t.Context(), python, args...).Output()
	if err != nil {
		t.Fatalf("%s: %v", python, err)
	}
	verdicts := strings.Split(strings.TrimSpace(string(out)), "\n")
	if len(verdicts) != len(all) {
		t.Fatalf("%d verdicts for %d reports", len(verdicts), len(all))
	}
	for i, m := range all {
		if got := verdicts[i] == "ok"; got != (i < 3) {
			t.Errorf("%s: %s", m.what, verdicts[i])
		}
	}
}

// The schema and the types name the same keys, and what a type always writes the
// schema requires: a field added to one is missed in the other here.
func TestSchemaNamesTheFieldsOfTheTypes(t *testing.T) {
	var schema map[string]any
	dec := json.NewDecoder(bytes.NewReader(report.Schema()))
	if err := dec.Decode(&schema); err != nil {
		t.Fatal(err)
	}
	defs := schema["$defs"].(map[string]any)
	seen := 0
	var compare func(path string, typ reflect.Type, s map[string]any)
	compare = func(path string, typ reflect.Type, s map[string]any) {
		for typ.Kind() == reflect.Pointer || typ.Kind() == reflect.Slice {
			if items, ok := s["items"].(map[string]any); ok {
				s = items
			}
			typ = typ.Elem()
		}
		if ref, ok := s["$ref"].(string); ok {
			s = defs[strings.TrimPrefix(ref, "#/$defs/")].(map[string]any)
		}
		if typ.Kind() != reflect.Struct || typ == reflect.TypeFor[time.Time]() {
			return
		}
		seen++
		props, _ := s["properties"].(map[string]any)
		var have, want, haveRequired, wantRequired []string
		for key := range props {
			have = append(have, key)
		}
		for _, key := range s["required"].([]any) {
			haveRequired = append(haveRequired, key.(string))
		}
		for _, f := range reflect.VisibleFields(typ) {
			tag := f.Tag.Get("json")
			if tag == "" {
				continue // embedded
			}
			key, options, _ := strings.Cut(tag, ",")
			want = append(want, key)
			if options == "" {
				wantRequired = append(wantRequired, key)
			}
			if p, ok := props[key].(map[string]any); ok {
				compare(path+"."+key, f.Type, p)
			}
		}
		for _, list := range [][]string{have, want, haveRequired, wantRequired} {
			slices.Sort(list)
		}
		if diff := cmp.Diff(want, have); diff != "" {
			t.Errorf("%s: keys (-type +schema):\n%s", path, diff)
		}
		if diff := cmp.Diff(wantRequired, haveRequired); diff != "" {
			t.Errorf("%s: required (-type +schema):\n%s", path, diff)
		}
		if s["additionalProperties"] != false {
			t.Errorf("%s: additionalProperties is %v, want false", path, s["additionalProperties"])
		}
	}
	compare("report", reflect.TypeFor[report.Model](), schema)
	if seen < 25 {
		t.Errorf("only %d types compared", seen)
	}
}
