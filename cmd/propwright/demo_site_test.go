package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"propwright/checklist"
	"propwright/checklist/report"
)

// demoWith runs the demo at a site that is prepared first, and returns the report's
// folder and the step lines.
func demoWith(t *testing.T, prepare func(site string)) (folder string, lines []string) {
	t.Helper()
	return demoOf(t, demoOptions{procedure: checklist.ProcedureNew, seed: 1}, prepare)
}

// demoOf is demoWith for a demo of another kind.
func demoOf(t *testing.T, o demoOptions, prepare func(site string)) (folder string, lines []string) {
	t.Helper()
	site := filepath.Join(t.TempDir(), "site")
	var out, errOut bytes.Buffer
	d := newDeps(strings.NewReader(""), &out, &errOut, func(string) string { return "" }, testDeps().now)
	st, err := makeDemoSite(t.Context(), d, site, report.DemoComment, o)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	prepare(site)
	// A verdict that is not a pass comes back as an error, which is not the matter here.
	if err := demonstrate(t.Context(), d, o, st); err != nil && exitStatus(err) != statusVerdict {
		t.Fatalf("demo: %v\n%s", err, &errOut)
	}
	lines = strings.Split(strings.TrimSpace(out.String()), "\n")
	folder, ok := strings.CutPrefix(lines[len(lines)-1], "report: ")
	if !ok {
		t.Fatalf("last line %q is no report", lines[len(lines)-1])
	}
	return folder, lines[:len(lines)-1]
}

// A site's own procedure shows in what is done and, with its digest, in the report.
func TestASitesProcedureReordersTightensAndDrops(t *testing.T) {
	builtin, err := checklist.BuiltinProcedure("new")
	if err != nil {
		t.Fatal(err)
	}
	blocks := strings.Split(string(builtin.Text), "[[step]]")
	var settings, removal int
	for i, b := range blocks {
		switch {
		case strings.Contains(b, "id = \"settings\""):
			settings = i
		case strings.Contains(b, "id = \"removal\""):
			removal = i
		}
	}
	// Settings after the reader chip, no removal step, and a delay that no board meets.
	blocks[settings], blocks[settings+1] = blocks[settings+1], blocks[settings]
	blocks = append(blocks[:removal], blocks[removal+1:]...)
	text := strings.Join(blocks, "[[step]]")
	text = strings.Replace(text, "delay_fail_s = 1.0", "delay_fail_s = 0.02", 1)
	text = strings.Replace(text, "delay_pass_s = 0.5", "delay_pass_s = 0.01", 1)

	folder, lines := demoWith(t, func(site string) {
		dir := filepath.Join(site, "procedures")
		if err := os.MkdirAll(dir, 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, "new.toml"), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	})
	var signed struct {
		Procedure struct{ Name, Digest string }
		Steps     []signedStep
	}
	raw, err := os.ReadFile(filepath.Join(folder, "report.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(raw, &signed); err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256([]byte(text))
	if want := "sha256:" + hex.EncodeToString(sum[:]); signed.Procedure.Digest != want {
		t.Errorf("digest in the report %s, want %s", signed.Procedure.Digest, want)
	}
	var order []string
	for _, s := range signed.Steps {
		order = append(order, s.ID)
		if s.ID == "link" && s.Verdict != "failed" {
			t.Errorf("link came out %q against a limit of 0.02 s, want failed", s.Verdict)
		}
	}
	got := strings.Join(order, " ")
	if !strings.HasPrefix(got, "wiring attach reader-chip settings master") {
		t.Errorf("order of steps %q, want settings after reader-chip", got)
	}
	if strings.Contains(got, "removal") {
		t.Errorf("order of steps %q has the step that was dropped", got)
	}
	if len(lines) != len(order) {
		t.Errorf("%d step lines, %d steps in the report", len(lines), len(order))
	}
}

// verifyStatus is the exit status and the output of reports verify.
func verifyStatus(t *testing.T, folder string) (int, string) {
	t.Helper()
	var out, errOut bytes.Buffer
	status := run(t.Context(), []string{"reports", "verify", folder}, strings.NewReader(""), &out, &errOut)
	return status, out.String() + errOut.String()
}

func TestVerifyFindsWhatWasTamperedWith(t *testing.T) {
	folder, _ := demoWith(t, func(string) {})
	if status, said := verifyStatus(t, folder); status != statusDone {
		t.Fatalf("an untouched report: status %d\n%s", status, said)
	}
	files, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		t.Run("a byte of "+f.Name(), func(t *testing.T) {
			path := filepath.Join(folder, f.Name())
			whole, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			defer func() {
				if err := os.WriteFile(path, whole, 0o600); err != nil {
					t.Fatal(err)
				}
			}()
			changed := bytes.Clone(whole)
			changed[len(changed)/2] ^= 0x01
			if err := os.WriteFile(path, changed, 0o600); err != nil {
				t.Fatal(err)
			}
			if status, said := verifyStatus(t, folder); status != statusVerdict || !strings.Contains(said, f.Name()) {
				t.Errorf("status %d, want 1 and the file's name:\n%s", status, said)
			}
		})
	}
}

// The stock ssh-keygen accepts the signature with the very line that reports show
// prints; a report that another key signed is refused, also where the bundle's own
// list of signers was changed to fit.
func TestStockSSHKeygenAndAForeignKey(t *testing.T) {
	if _, err := exec.LookPath("ssh-keygen"); err != nil {
		missingPackage(t, "openssh-client")
	}
	folder, _ := demoWith(t, func(string) {})
	var out bytes.Buffer
	if status := run(t.Context(), []string{"reports", "show", folder}, strings.NewReader(""), &out, &out); status != statusDone {
		t.Fatalf("reports show: status %d\n%s", status, &out)
	}
	line := ""
	for l := range strings.Lines(out.String()) {
		if i := strings.Index(l, "ssh-keygen -Y verify"); i >= 0 {
			line = strings.TrimSpace(l[i:])
		}
	}
	shell := exec.Command("sh", "-c", line)
	shell.Dir = folder
	if text, err := shell.CombinedOutput(); err != nil || line == "" {
		t.Errorf("%q: %v\n%s", line, err, text)
	}

	key := filepath.Join(t.TempDir(), "foreign")
	for _, args := range [][]string{
		{"-q", "-t", "ed25519", "-N", "", "-f", key},
		{"-q", "-Y", "sign", "-f", key, "-n", "propwright-report", filepath.Join(folder, "report.json")},
	} {
		cmd := exec.Command("ssh-keygen", args...)
		cmd.Stdin = strings.NewReader("y\n") // it asks before it writes over the signature
		if text, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("ssh-keygen %v: %v\n%s", args, err, text)
		}
	}
	if status, said := verifyStatus(t, folder); status != statusVerdict || !strings.Contains(said, "report.json.sig") {
		t.Errorf("a foreign signature: status %d, want 1 and the signature named:\n%s", status, said)
	}
	public, err := os.ReadFile(key + ".pub")
	if err != nil {
		t.Fatal(err)
	}
	signers := append([]byte("demo-room-technician@the-tidewater-rooms "), public...)
	if err := os.WriteFile(filepath.Join(folder, "allowed_signers"), signers, 0o600); err != nil {
		t.Fatal(err)
	}
	if status, said := verifyStatus(t, folder); status != statusVerdict || !strings.Contains(said, "report.json.sig") {
		t.Errorf("a foreign signature with its own list: status %d, want 1 and the signature named:\n%s", status, said)
	}
}
