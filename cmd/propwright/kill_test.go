//go:build unix

package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"propwright/checklist"
	"propwright/checklist/report"
)

// killTimes is how many runs the kill test ends, and killPace how much faster
// than the real clock its board and its runs go.
const (
	killTimes = 200
	killPace  = "20"
)

// A run that another process ends with SIGKILL at random moments resumes each
// time: what the log held is a prefix of what it holds afterwards, no step that was
// decided is begun again, the interruption is on record, and the verdicts are those
// of an undisturbed run.
func TestKilledRunsResume(t *testing.T) {
	if testing.Short() {
		t.Skip("takes minutes")
	}
	program := buildProgram(t)
	want := undisturbed(t, program)
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	killed, inStep, runs := 0, 0, 0
	for killed < killTimes {
		k := newKillBench(t, program)
		runs++
		for done := false; !done; {
			patience := time.Duration(random.Int64N(int64(1500 * time.Millisecond)))
			if killed >= killTimes {
				patience = 5 * time.Minute
			}
			var amid bool
			done, amid = k.commission(t, patience)
			if !done {
				killed++
				if amid {
					inStep++
				}
			}
		}
		if got := k.verdicts(t); got != want {
			t.Fatalf("run %d: verdicts after %d kills:\n%s\nundisturbed:\n%s", runs, k.kills, got, want)
		}
		k.stop(t)
	}
	t.Logf("%d kills over %d runs, %d of them in the middle of a step", killed, runs, inStep)
	if inStep*2 < killed {
		t.Errorf("%d of %d kills fell into a step, want at least half", inStep, killed)
	}
}

func buildProgram(t *testing.T) string {
	t.Helper()
	program := filepath.Join(t.TempDir(), "propwright")
	build := exec.Command("go", "build", "-o", program, ".")
	if text, err := build.CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, text)
	}
	return program
}

// undisturbed commissions without a kill and returns the verdicts.
func undisturbed(t *testing.T, program string) string {
	t.Helper()
	k := newKillBench(t, program)
	defer k.stop(t)
	if done, _ := k.commission(t, 5*time.Minute); !done {
		t.Fatal("the undisturbed run did not end in five minutes")
	}
	return k.verdicts(t)
}

// A killBench is a board in a process of its own, and a site to commission it at.
type killBench struct {
	program, dir, port, control, listen, answers string
	board                                        *exec.Cmd
	entries                                      []checklist.Entry
	kills                                        int
}

func newKillBench(t *testing.T, program string, boardArgs ...string) *killBench {
	t.Helper()
	dir := t.TempDir()
	k := &killBench{program: program, dir: dir, listen: freeAddress(t), answers: filepath.Join(dir, "answers.toml")}
	site, err := makeDemoSite(t.Context(), testDeps(), filepath.Join(dir, "site"), "test key", demoOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if err := site.Close(); err != nil {
		t.Fatal(err)
	}
	// At this pace a busy computer's pauses grow to what would be late for a coil;
	// how late is not what this test is about.
	limits, err := os.OpenFile(filepath.Join(dir, "site", "site.toml"), os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := limits.WriteString("delay_pass_s = 4\ndelay_fail_s = 5\n"); err != nil {
		t.Fatal(err)
	}
	if err := limits.Close(); err != nil {
		t.Fatal(err)
	}
	text := "[wiring]\nanswer = \"yes\"\nvalue = 5.02\nunit = \"V\"\n[sign-off]\nanswer = \"yes\"\n"
	if err := os.WriteFile(k.answers, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	boardArgs = append([]string{"board", "--pace", killPace, "--controller", k.listen, "--alias", filepath.Join(dir, "port")}, boardArgs...)
	k.board = exec.Command(program, boardArgs...)
	out, err := k.board.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	k.board.Stderr = os.Stderr
	if err := k.board.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { k.stop(t) })
	lines := bufio.NewScanner(out)
	for (k.port == "" || k.control == "") && lines.Scan() {
		if path, ok := strings.CutPrefix(lines.Text(), "port: "); ok {
			k.port = path
		}
		if path, ok := strings.CutPrefix(lines.Text(), "control: "); ok {
			k.control = path
		}
	}
	if k.control == "" {
		t.Fatalf("the board printed no port and control: %v", lines.Err())
	}
	return k
}

func (k *killBench) stop(t *testing.T) {
	if k.board == nil {
		return
	}
	if err := k.board.Process.Signal(syscall.SIGTERM); err != nil {
		t.Errorf("end the board: %v", err)
	}
	_ = k.board.Wait() // its status is that of an interrupted program
	k.board = nil
}

// args are those of a commissioning at the bench.
func (k *killBench) args() []string {
	return []string{"commission", demoProp, "--site", filepath.Join(k.dir, "site"), "--sitting", "bench", "--port", k.port,
		"--listen", k.listen, "--hands", k.control, "--answers", k.answers, "--pace", killPace}
}

// commission starts or resumes the run and ends it with SIGKILL after a time,
// unless it ends by itself first. amid says that the kill fell into a step.
func (k *killBench) commission(t *testing.T, patience time.Duration) (done, amid bool) {
	t.Helper()
	args := k.args()
	if k.kills > 0 {
		args = append(args, "--resume")
	}
	cmd := exec.Command(k.program, args...)
	var errOut bytes.Buffer
	cmd.Stderr = &errOut
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	// The kill comes a random time after the run has put its first word on record.
	timer := time.NewTimer(patience)
	if journal := k.journal(); k.kills == 0 {
		for journal == "" {
			select {
			case err := <-ended:
				t.Fatalf("the run ended before it began: %v\n%s", err, &errOut)
			case <-time.After(time.Millisecond):
				journal = k.journal()
			}
		}
	}
	select {
	case err := <-ended:
		if err != nil {
			t.Fatalf("the run ended by itself: %v\n%s", err, &errOut)
		}
		k.compare(t, false)
		return true, false
	case <-timer.C:
	}
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	err := <-ended
	if run, openErr := openRunFolder(filepath.Dir(k.journal())); openErr != nil {
		t.Fatal(openErr)
	} else if reported := run.reported(checklist.Bench); err == nil || reported {
		run.journal.Close()
		k.compare(t, false)
		return true, false // it was done in that very moment
	} else if err := run.journal.Close(); err != nil {
		t.Fatal(err)
	}
	k.kills++
	return false, k.compare(t, true)
}

// journal is the path of the run's journal, "" before there is one.
func (k *killBench) journal() string {
	found, _ := filepath.Glob(filepath.Join(k.dir, "site", "reports", "*", report.FileJournal))
	if len(found) == 0 {
		return ""
	}
	if info, err := os.Stat(found[0]); err != nil || info.Size() == 0 {
		return ""
	}
	return found[0]
}

// compare holds the journal against what it held at the last kill, and says
// whether its end lies in the middle of a step.
func (k *killBench) compare(t *testing.T, killed bool) (amid bool) {
	t.Helper()
	text, err := os.ReadFile(k.journal())
	if err != nil {
		t.Fatal(err)
	}
	entries, _, err := checklist.ReadJournal(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	if len(entries) < len(k.entries) {
		t.Fatalf("the log lost entries: %d, before the kill %d", len(entries), len(k.entries))
	}
	for i, before := range k.entries {
		a, _ := json.Marshal(before)
		b, _ := json.Marshal(entries[i])
		if !bytes.Equal(a, b) {
			t.Fatalf("entry %d changed over a kill:\n%s\n%s", i+1, a, b)
		}
	}
	decided := map[string]bool{}
	resumes := 0
	for _, e := range entries {
		switch {
		case e.Type == checklist.EntryVerdict:
			decided[e.Step] = true
		case e.Type == checklist.EntryBegin && decided[e.Step]:
			t.Fatalf("step %q was decided and begun again at entry %d", e.Step, e.N)
		case e.Run != nil && e.Run.Resumed:
			resumes++
		}
		amid = e.Type == checklist.EntryBegin || amid && e.Type != checklist.EntryVerdict
	}
	// A kill before the process had put itself on record leaves no mark to count.
	if resumes > k.kills {
		t.Fatalf("%d resumes on record after %d kills", resumes, k.kills)
	}
	k.entries = entries
	return amid && killed
}

// verdicts lists the steps of the signed report with their verdicts.
func (k *killBench) verdicts(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(filepath.Dir(k.journal()), "report.json"))
	if err != nil {
		t.Fatal(err)
	}
	var report signedReport
	if err := json.Unmarshal(text, &report); err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	for _, s := range report.Steps {
		fmt.Fprintf(&b, "%s %s\n", s.ID, s.Verdict)
		for _, f := range s.Findings {
			fmt.Fprintf(&b, "  %s %s\n", f.What, f.Verdict)
		}
	}
	return b.String()
}
