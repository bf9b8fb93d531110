package diagnose_test

import (
	"bytes"
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"testing"
)

// Exact inference against an independent library, pomegranate for Python (Schreiber 2018,
// JMLR 18(164)): 200 random networks, of up to six causes in pairs and five findings of up
// to four values.
func TestPosteriorEqualsThatOfALibrary(t *testing.T) {
	python := "/usr/bin/python3"
	if out, err := exec.CommandContext(t.Context(), python, "-c", "import pomegranate").CombinedOutput(); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("pomegranate for Python: %s; Debian package python3-pomegranate", out)
		}
		t.Skip("pomegranate for Python: not found; Debian package python3-pomegranate")
	}
	rng := rand.New(rand.NewPCG(13, 17))
	var networks []network
	for range 200 {
		networks = append(networks, randomNetwork(rng))
	}
	in, err := json.Marshal(networks)
	if err != nil {
		t.Fatal(err)
	}
	var said bytes.Buffer
	cmd := exec.CommandContext(t.Context(), python, "testdata/posterior.py")
	cmd.Stdin, cmd.Stderr = bytes.NewReader(in), &said
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v\n%s", err, &said)
	}
	var theirs []struct {
		Nothing float64   `json:"nothing"`
		Causes  []float64 `json:"causes"`
	}
	if err := json.Unmarshal(out, &theirs); err != nil || len(theirs) != len(networks) {
		t.Fatalf("%d answers to %d networks, %v", len(theirs), len(networks), err)
	}
	worst := 0.0
	for i, n := range networks {
		nothing, causes := n.posterior(t)
		if len(causes) != len(theirs[i].Causes) {
			t.Fatalf("network %d: %d causes, the library has %d", i, len(causes), len(theirs[i].Causes))
		}
		worst = max(worst, math.Abs(nothing-theirs[i].Nothing))
		for c, p := range causes {
			worst = max(worst, math.Abs(p-theirs[i].Causes[c]))
		}
	}
	t.Logf("greatest difference %.2g", worst)
	if worst > 1e-6 {
		t.Errorf("greatest difference %.2g, want 1e-6 at most", worst)
	}
}
