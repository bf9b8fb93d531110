package diagnose_test

import (
	"errors"
	"strings"
	"testing"
	"testing/fstest"

	"propwright/checklist/diagnose"
)

// goodFile is a small knowledge that loads; the cases below break it in one place each.
const goodFile = `[model]
nothing_wrong = 10
pairs = 0.05
slip = 0.02
unfamiliar = 0.4

[[cause]]
id = "something-else"
title = "Something else"
area = "none"
prior = 1
basis = ["judgement"]
remedy = "r"

[[cause]]
id = "dry-joint"
title = "Dry joint"
area = "wiring"
prior = 5
basis = ["judgement"]
remedy = "Solder."
minutes = 10

[[finding]]
id = "light"
about = "the light"
basis = ["judgement"]
values = [
  {id="on", leak=0.9, tell="on", says=["on|lit"]},
  {id="off", leak=0.1, tell="off", says=["off"]},
]
under = [{causes=["dry-joint"], p={off=0.8}, basis=["case F01"]}]

[[finding]]
id = "sound"
about = "the sound"
basis = ["judgement"]
values = [{id="yes", leak=0.9, tell="yes"}, {id="no", leak=0.1, tell="no"}]
under = [{areas=["wiring"], p={no=0.6}, basis=["judgement"]}]

[[test]]
id = "look"
finding = "light"
ask = "Is it lit?"
minutes = 1
why = "it shows"

[[test]]
id = "hear"
finding = "sound"
ask = "Is there a sound?"
minutes = 1
destroys = ["light"]
why = "it tells"
`

func loadText(text string) (*diagnose.Knowledge, error) {
	return diagnose.Load(diagnose.LoadOptions{Only: fstest.MapFS{"k.toml": {Data: []byte(text)}}})
}

func TestLoadNamesFileLineAndField(t *testing.T) {
	if _, err := loadText(goodFile); err != nil {
		t.Fatal(err)
	}
	tests := map[string]struct{ old, new, want string }{
		"probability over 1":   {"p={off=0.8}", "p={off=1.8}", "k.toml:32: field under.p: 1.8: a probability is 0 to 1"},
		"unknown cause":        {`causes=["dry-joint"]`, `causes=["wet-joint"]`, `k.toml:32: field under.causes: "wet-joint": no such cause`},
		"unknown area":         {`areas=["wiring"]`, `areas=["plumbing"]`, `k.toml:39: field under.areas: "plumbing": no cause has this area`},
		"leak over 1":          {`id="on", leak=0.9`, `id="on", leak=1.9`, "k.toml:29: field values.leak: 1.9: a probability is 0 to 1"},
		"leaks not 1":          {`id="off", leak=0.1`, `id="off", leak=0.2`, "k.toml:28: field values: the leaks come to 1.1: must be 1"},
		"prior of nothing":     {"prior = 5", "prior = -5", "k.toml:19: field prior: -5: must be over 0 and at most 100"},
		"no basis":             {`p={no=0.6}, basis=["judgement"]`, `p={no=0.6}`, "k.toml:39: field under.basis: missing: say what the likelihood rests on"},
		"unknown value":        {"p={no=0.6}", "p={maybe=0.6}", `k.toml:39: field under.p: "maybe": the finding has no such value`},
		"unknown finding":      {`finding = "light"`, `finding = "dark"`, `k.toml:43: field finding: "dark": no such finding`},
		"unknown key":          {"why = \"it shows\"", "why = \"it shows\"\ncolour = 3", "k.toml:47: field test.colour: no such key"},
		"cycle":                {"why = \"it shows\"", "why = \"it shows\"\nneeds = [\"hear\"]", "k.toml:47: field needs: a cycle: look, hear, look: each is to come after the next"},
		"unknown fact":         {"why = \"it shows\"", "why = \"it shows\"\nmoot = [\"@moon\"]", `k.toml:47: field moot: "@moon": no such fact`},
		"unknown moot value":   {"why = \"it shows\"", "why = \"it shows\"\nmoot = [\"smell\"]", `k.toml:47: field moot: "smell": no such finding`},
		"unknown needed test":  {"why = \"it shows\"", "why = \"it shows\"\nneeds = [\"smell\"]", `k.toml:47: field needs: "smell": no such test`},
		"twice":                {`id = "hear"`, `id = "look"`, `k.toml:49: field id: "look": known already`},
		"nothing-wrong listed": {`id = "dry-joint"`, `id = "nothing-wrong"`, `k.toml:16: field id: "nothing-wrong" is the case of no cause`},
		"empty word":           {`says=["on|lit"]`, `says=["on||lit"]`, `k.toml:29: field values.says: phrase "on||lit": an empty word`},
		"unknown word list":    {`says=["on|lit"]`, `says=["@bright"]`, `k.toml:29: field values.says: phrase "@bright": no word list "bright"`},
		"not TOML":             {"[model]", "[model", "k.toml:2: expected"},
		"wrong type":           {"prior = 5", `prior = "five"`, "k.toml:19: field cause.prior: a number is wanted, not a text"},
		"slip over half":       {"slip = 0.02", "slip = 0.7", "k.toml:4: field slip: 0.7: must be 0 to 0.5"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			if !strings.Contains(goodFile, tt.old) {
				t.Fatalf("%q is not in the file", tt.old)
			}
			_, err := loadText(strings.Replace(goodFile, tt.old, tt.new, 1))
			var le *diagnose.LoadError
			if !errors.As(err, &le) || !strings.HasPrefix(err.Error(), tt.want) || strings.Contains(err.Error(), "\n") {
				t.Errorf("error %v\nwant  %s", err, tt.want)
			}
		})
	}
}

// A likelihood that rests on one case alone is gone without it, and only then.
func TestWithoutACase(t *testing.T) {
	files := fstest.MapFS{"k.toml": {Data: []byte(goodFile)}}
	for without, want := range map[string]float64{"F01": 0.1, "F02": 0.8} {
		k, err := diagnose.Load(diagnose.LoadOptions{Only: files, Without: without})
		if err != nil {
			t.Fatal(err)
		}
		got := k.Likelihood(diagnose.Observation{Finding: 0, Value: 1}, k.Cause("dry-joint"))
		if want = 0.98*want + 0.01; got != want {
			t.Errorf("without %s: %g, want %g", without, got, want)
		}
	}
}

// Evidence that no state can bring about is an error, not a division by zero.
func TestImpossibleEvidence(t *testing.T) {
	text := strings.NewReplacer("slip = 0.02", "slip = 0.0", "unfamiliar = 0.4", "unfamiliar = 0.0",
		"leak=0.9, tell=\"on\"", "leak=1.0, tell=\"on\"", "leak=0.1, tell=\"off\"", "leak=0.0, tell=\"off\"",
		"p={off=0.8}", "p={off=0.0}").Replace(goodFile)
	k, err := loadText(text)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := k.Prior().Given(diagnose.Observation{Finding: 0, Value: 1}); err == nil {
		t.Error("no error for what cannot be")
	}
}

func FuzzLoad(f *testing.F) {
	f.Add(goodFile)
	f.Add("[model]\nnothing_wrong = nan\n")
	f.Add("[[cause]]\nid = \"a\"\nprior = 1e309\n")
	f.Fuzz(func(t *testing.T, text string) {
		k, err := loadText(text)
		if err != nil {
			if strings.ContainsAny(err.Error(), "\n\r") {
				t.Errorf("an error of more than one line: %q", err)
			}
			return
		}
		b := k.Prior()
		sum := b.Nothing()
		for _, p := range b.Causes() {
			if !(p >= 0 && p <= 1) {
				t.Fatalf("a probability of %v", p)
			}
			sum += p
		}
		if len(k.Causes) > 0 && !(sum > 0) {
			t.Fatalf("the beliefs come to %v", sum)
		}
		if _, err := k.Answer("light=off"); err != nil {
			t.Fatal(err)
		}
		b.Next(diagnose.Situation{})
	})
}
