package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"propwright/serialmon/virtual"
)

// signedReport is as much of report.json as these tests look at, with the keys
// that the command contract promises.
type signedReport struct {
	Virtual bool         `json:"virtual"`
	Verdict string       `json:"verdict"`
	Steps   []signedStep `json:"steps"`
}

type signedStep struct {
	ID       string `json:"id"`
	Sitting  string `json:"sitting"`
	Reader   int    `json:"reader"`
	Verdict  string `json:"verdict"`
	Findings []struct {
		What    string `json:"what"`
		Verdict string `json:"verdict"`
		Note    string `json:"note"`
		Value   struct {
			Text string `json:"text"`
		} `json:"value"`
		Limit struct {
			Text string `json:"text"`
		} `json:"limit"`
	} `json:"findings"`
}

// demoRun runs the demo and returns its exit status, its stdout and the report
// that its last line names.
func demoRun(t *testing.T, args ...string) (status int, lines []string, report signedReport) {
	t.Helper()
	var out, errOut bytes.Buffer
	args = append([]string{"demo", "--dir", filepath.Join(t.TempDir(), "demo")}, args...)
	status = run(t.Context(), args, strings.NewReader(""), &out, &errOut)
	lines = strings.Split(strings.TrimSpace(out.String()), "\n")
	folder, ok := strings.CutPrefix(lines[len(lines)-1], "report: ")
	if !ok {
		t.Fatalf("demo %v: status %d, last line %q is no report\nstdout:\n%s\nstderr:\n%s", args, status, lines[len(lines)-1], &out, &errOut)
	}
	text, err := os.ReadFile(filepath.Join(folder, "report.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &report); err != nil {
		t.Fatal(err)
	}
	if !report.Virtual {
		t.Error("the report of a virtual board does not say so")
	}
	return status, lines, report
}

// The rows are the command contract's table of faults: the step where each must
// show, the verdict, and what the finding names. What must stand in the finding's
// words is written from that table and the demo's plan (coil 117, cover 6 mm,
// 115200 baud, controller 10.77.0.10), not from what the program prints.
var faultTable = []struct {
	fault, step, verdict string
	names                []string
}{
	{"reader-zero", "reader-chip", "failed", []string{"0x00", "10 of 10"}},
	{"reader-ones", "reader-chip", "failed", []string{"0xFF"}},
	{"loose-joint", "reader-chip", "failed", []string{"several version values|flex"}},
	{"clone-chip", "reader-chip", "passed", []string{"0xB2", "self-test", "not comparable"}},
	{"brown-out", "attach", "failed", []string{"boots", "every 2."}},
	{"wrong-speed", "attach", "failed", []string{"115200", "likely 9600"}},
	{"old-contents", "master", "failed", []string{"master", "cards", "another prop"}},
	{"coil-taken", "settings", "failed", []string{"118", "117", "chart-table"}},
	{"settings-silent", "settings", "not confirmed", []string{"not echoed", "coil"}},
	{"lights-inverted", "lights", "failed", []string{"seen 1 2", "planned 3"}},
	{"master-lost", "master", "failed", []string{"no master after reset"}},
	{"stuck-programming", "programming", "failed", []string{"no exit"}},
	{"last-card-lost", "cards", "failed", []string{"newest card refused"}},
	{"cards-stay", "cards", "failed", []string{"removed card still accepted"}},
	{"flicker", "removal", "failed", []string{"absences", "lay still"}},
	{"short-range", "range", "failed", []string{"range", "cover", "6 mm"}},
	{"no-cable", "link", "failed", []string{"link"}},
	{"wrong-controller", "link", "failed", []string{"10.77.0.99"}},
	{"coil-plus-one", "link", "failed", []string{"118", "117"}},
	{"coil-stays-on", "link", "failed", []string{"off"}},
	{"slow-coil", "link", "failed", []string{"Delay 1.", "limit 1 s"}},
	{"no-reconnect", "link", "failed", []string{"cable"}},
	{"misses", "repeat", "failed", []string{"misses of 20"}},
	{"weak-adapter", "in-service", "failed", []string{"USB", "own supply"}},
	{"cold-start", "in-service", "failed", []string{"starts failed", " of "}},
	// Beyond the contract's table: what every evening's main switch brings out.
	{"gives-up-early", "in-service", "failed", []string{"whole room off and on", "not back"}},
}

func TestEveryFaultShowsWhereTheContractSays(t *testing.T) {
	for _, row := range faultTable {
		t.Run(row.fault, func(t *testing.T) {
			t.Parallel()
			status, _, report := demoRun(t, "--fault", row.fault)
			wantStatus := statusVerdict
			if row.verdict == "passed" {
				wantStatus = statusDone
			}
			if status != wantStatus {
				t.Errorf("exit status %d, want %d", status, wantStatus)
			}
			step, ok := findStep(report, row.step, row.verdict)
			if !ok {
				t.Fatalf("no step %q with verdict %q; steps: %s", row.step, row.verdict, verdicts(report))
			}
			words := wordsOf(step, row.verdict)
			for _, name := range row.names {
				if !containsAny(words, strings.Split(name, "|")) {
					t.Errorf("the findings do not name %q:\n%s", name, words)
				}
			}
			// A fault that is found late must not have been blamed on an earlier step. Two
			// leave one honestly unconfirmed: settings that are not echoed, as the row for
			// wrong-controller says, and a range in which some presentations are missed.
			for _, s := range report.Steps {
				if s.ID == row.step && s.Sitting == step.Sitting {
					break
				}
				if s.Verdict == "failed" || s.Verdict == "not confirmed" && row.fault != "wrong-controller" && row.fault != "misses" {
					t.Errorf("step %q came out %q before the fault's own step", s.ID, s.Verdict)
				}
			}
		})
	}
}

func TestFaultTableIsWhole(t *testing.T) {
	known := map[string]bool{}
	for _, f := range virtual.Faults() {
		known[f.Name] = true
	}
	for _, row := range faultTable {
		if !known[row.fault] {
			t.Errorf("the virtual board lacks fault %q", row.fault)
		}
		delete(known, row.fault)
	}
	// One needs more readers than the contract's board has: TestCrossedReadersAreNamed.
	delete(known, "readers-crossed")
	for fault := range linkFaults {
		delete(known, fault)
	}
	for fault := range livePropFaults {
		delete(known, fault)
	}
	for name := range known {
		t.Errorf("fault %q has no row in the table", name)
	}
}

func findStep(r signedReport, id, verdict string) (signedStep, bool) {
	for _, s := range r.Steps {
		if s.ID == id && s.Verdict == verdict {
			return s, true
		}
	}
	return signedStep{}, false
}

// wordsOf joins what the findings say that bring the verdict about.
func wordsOf(s signedStep, verdict string) string {
	var words []string
	for _, f := range s.Findings {
		if f.Verdict == verdict {
			words = append(words, f.What+": "+f.Value.Text+"; limit "+f.Limit.Text+"; "+f.Note)
		}
	}
	return strings.Join(words, "\n")
}

func containsAny(text string, parts []string) bool {
	for _, p := range parts {
		if strings.Contains(text, p) {
			return true
		}
	}
	return false
}

func verdicts(r signedReport) string {
	var all []string
	for _, s := range r.Steps {
		all = append(all, s.Sitting+" "+s.ID+" "+s.Verdict)
	}
	return strings.Join(all, ", ")
}

// A run without a fault passes every step of both sittings, and says so line by
// line.
func TestDemoPassesUnattended(t *testing.T) {
	status, lines, report := demoRun(t)
	if status != statusDone || report.Verdict != "passed" {
		t.Errorf("status %d, verdict %q; want 0 and passed", status, report.Verdict)
	}
	if n := len(report.Steps); n != len(lines)-1 {
		t.Errorf("%d steps in the report, %d lines before the last", n, len(lines)-1)
	}
	for i, s := range report.Steps {
		if s.Verdict != "passed" || !strings.HasSuffix(lines[i], " passed") {
			t.Errorf("step %s %s: %q; line %q", s.Sitting, s.ID, s.Verdict, lines[i])
		}
	}
	for _, id := range []string{"wiring", "attach", "settings", "reader-chip", "lights", "master", "programming", "cards",
		"removal", "range", "link", "repeat", "in-service", "clean-up", "sign-off"} {
		if _, ok := findStep(report, id, "passed"); !ok {
			t.Errorf("step %q is not among the passed ones", id)
		}
	}
}

// Faults that a whole commissioning does not come to, for the board is hardly there: what
// link PROP calls them.
var livePropFaults = map[string]string{
	"": "", "coil-minus-one": "coil-one-too-low", "connected-silent": "connected-but-silent",
	"sockets-leak": "sockets-used-up", "connect-resets": "reset-at-each-connect",
}

// Of a link's look-alike faults, what a link step names of each that the virtual board
// can have: written from what the fault is, not from what the program prints. Beyond
// the contract's table are those that only the name tells from others.
var linkFaults = map[string]string{
	"no-cable": "no link: ", "shield-missing": "network shield not found: ", "link-flaps": "link comes and goes: ", "wrong-mask": "wrong mask: ",
	"wrong-controller": "wrong controller address: ", "connected-silent": "connected but silent: ", "no-reconnect": "no reconnect: ",
	"wrong-unit": "wrong unit id: ", "wrong-function": "wrong function: ", "coil-plus-one": "coil one too high: ", "coil-minus-one": "coil one too low: ",
	"coil-inverted": "value inverted: ", "coil-stays-on": "on but never off: ", "slow-coil": "writes come late: ", "writes-twice": "writes come twice: ",
	"writes-lost": "writes are lost: ", "": "", "clone-chip": "", "gives-up-early": "", "weak-adapter": "", "misses": "",
}

func TestALinkStepNamesItsFault(t *testing.T) {
	if testing.Short() {
		t.Skip("many runs")
	}
	for fault, title := range linkFaults {
		t.Run(fault, func(t *testing.T) {
			t.Parallel()
			args := []string{"--fault", fault}
			if fault == "" {
				args = nil
			}
			_, _, report := demoRun(t, args...)
			var named []string
			for _, s := range report.Steps {
				for _, f := range s.Findings {
					if s.ID == "link" && f.What == "fault" {
						named = append(named, f.Value.Text)
					}
				}
			}
			if title == "" && len(named) > 0 {
				t.Errorf("named %q; want nothing", named)
			}
			for _, n := range named {
				if !strings.HasPrefix(n, title) {
					t.Errorf("named %q; want %q", n, title)
				}
			}
			if title != "" && len(named) == 0 {
				t.Errorf("named nothing; want %q", title)
			}
		})
	}
}
