package report_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"propwright/checklist/report"
)

// peer returns a program from outside, or skips the test; under CI it must be
// there.
func peer(t *testing.T, program, debian string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err == nil {
		return path
	}
	if os.Getenv("CI") == "true" {
		t.Fatalf("%s: not found; Debian package %s", program, debian)
	}
	t.Skipf("%s: not found; Debian package %s", program, debian)
	return ""
}

func TestKeyIsTheSameAfterSavingAndLoading(t *testing.T) {
	path := filepath.Join(t.TempDir(), "key")
	k := newKey(t, 7, report.DemoComment)
	if err := report.SaveKey(path, k); err != nil {
		t.Fatal(err)
	}
	got, err := report.LoadKey(path)
	if err != nil || got.ID() != k.ID() || !got.Demo() || got.Comment != report.DemoComment {
		t.Errorf("LoadKey = %s %q, demo %t, %v; want %s", got.ID(), got.Comment, got.Demo(), err, k.ID())
	}
	if info, err := os.Stat(path); err != nil || runtime.GOOS != "windows" && info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v; want 0600", info.Mode(), err)
	}
	if err := report.SaveKey(path, k); err == nil {
		t.Error("SaveKey wrote over a key")
	}
}

// ssh-keygen reads our key file, and we read one of its.
func TestKeyFilesAreThoseOfSSHKeygen(t *testing.T) {
	keygen := peer(t, "ssh-keygen", "openssh-client")
	dir := t.TempDir()
	ours, theirs := filepath.Join(dir, "ours"), filepath.Join(dir, "theirs")
	k := newKey(t, 7, "a comment")
	if err := report.SaveKey(ours, k); err != nil {
		t.Fatal(err)
	}
	out, err := exec.CommandContext(t.Context(), keygen, "-l", "-f", ours).CombinedOutput()
	if err != nil || !strings.Contains(string(out), k.ID()) || !strings.Contains(string(out), "a comment") {
		t.Errorf("ssh-keygen -l: %s, %v; want %s and the comment", out, err, k.ID())
	}
	if out, err := exec.CommandContext(t.Context(), keygen, "-q", "-t", "ed25519", "-N", "", "-C", "bench two", "-f", theirs).CombinedOutput(); err != nil {
		t.Fatalf("ssh-keygen: %s, %v", out, err)
	}
	got, err := report.LoadKey(theirs)
	if err != nil || got.Comment != "bench two" || got.Demo() {
		t.Errorf("LoadKey = %q, demo %t, %v", got.Comment, got.Demo(), err)
	}
}

func TestLoadKeyRefuses(t *testing.T) {
	keygen := peer(t, "ssh-keygen", "openssh-client")
	dir := t.TempDir()
	make := func(name string, args ...string) {
		if out, err := exec.CommandContext(t.Context(), keygen, append([]string{"-q", "-f", filepath.Join(dir, name)}, args...)...).CombinedOutput(); err != nil {
			t.Fatalf("ssh-keygen: %s, %v", out, err)
		}
	}
	make("locked", "-t", "ed25519", "-N", "a passphrase")
	make("ecdsa", "-t", "ecdsa", "-N", "")
	make("open", "-t", "ed25519", "-N", "")
	put(t, dir, "text", []byte("no key\n"))
	tests := map[string]string{"locked": "passphrase", "ecdsa": "must be Ed25519", "text": "no key found", "nowhere": "no such file"}
	if runtime.GOOS != "windows" {
		if err := os.Chmod(filepath.Join(dir, "open"), 0o644); err != nil {
			t.Fatal(err)
		}
		tests["open"] = "mode 0644"
	}
	for name, want := range tests {
		if _, err := report.LoadKey(filepath.Join(dir, name)); err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("LoadKey(%s) = %v; want one line with %q", name, err, want)
		}
	}
}

func TestNewKeyRefusesATooShortSource(t *testing.T) {
	if _, err := report.NewKey(bytes.NewReader(make([]byte, 31)), ""); err == nil {
		t.Error("31 bytes made a key")
	}
	if _, err := report.NewKey(bytes.NewReader(make([]byte, 32)), "two\nlines"); err == nil {
		t.Error("a comment of two lines was taken")
	}
	if _, err := report.Sign(report.Key{}, nil); err == nil {
		t.Error("the zero key signed")
	}
}

// The stock tool, with the line that the report itself prints.
func TestStockToolVerifiesTheBundle(t *testing.T) {
	peer(t, "ssh-keygen", "openssh-client")
	shell := peer(t, "sh", "dash")
	dir, m := bundle(t)
	check := func(line string) (string, error) {
		cmd := exec.CommandContext(t.Context(), shell, "-c", line)
		cmd.Dir = dir
		out, err := cmd.CombinedOutput()
		return string(out), err
	}
	line := report.VerifyLine(m)
	if out, err := check(line); err != nil || !strings.Contains(out, `Good "propwright-report" signature for mole@tidewater`) {
		t.Errorf("%s: %s, %v", line, out, err)
	}
	bench := strings.ReplaceAll(line, "report.json", "bench.report.json")
	if out, err := check(bench); err != nil {
		t.Errorf("%s: %s, %v", bench, out, err)
	}
	for name, bad := range map[string]string{
		"namespace": strings.Replace(line, "-n propwright-report", "-n file", 1),
		"principal": strings.Replace(line, "mole@", "toad@", 1),
	} {
		if out, err := check(bad); err == nil {
			t.Errorf("another %s is accepted: %s", name, out)
		}
	}
	signed := read(t, dir, report.FileReport)
	signed[len(signed)/2] ^= 1
	put(t, dir, report.FileReport, signed)
	if out, err := check(line); err == nil {
		t.Errorf("a changed byte is accepted: %s", out)
	}
}
