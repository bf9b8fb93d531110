package serialmon_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/sys/unix"

	"propwright/serialmon"
)

// R20, R21: the cause is told, in one line, with something to try.
func TestOpenSaysWhy(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "notes.txt")
	must(t, os.WriteFile(file, []byte("no port"), 0o600))
	dangling := filepath.Join(dir, "dangling")
	must(t, os.Symlink(filepath.Join(dir, "gone"), dangling))
	tests := map[string]struct {
		name  string
		speed int
		want  serialmon.Reason
	}{
		"missing":        {filepath.Join(dir, "nothing"), 9600, serialmon.ReasonMissing},
		"dangling link":  {dangling, 9600, serialmon.ReasonMissing},
		"regular file":   {file, 9600, serialmon.ReasonNotSerial},
		"folder":         {dir, 9600, serialmon.ReasonNotSerial},
		"other device":   {"/dev/null", 9600, serialmon.ReasonNotSerial},
		"speed zero":     {file, 0, serialmon.ReasonSpeed},
		"speed negative": {file, -1, serialmon.ReasonSpeed},
		"speed too low":  {file, 49, serialmon.ReasonSpeed},
		"speed too high": {file, 4_000_001, serialmon.ReasonSpeed},
	}
	for what, tt := range tests {
		t.Run(what, func(t *testing.T) {
			port, err := serialmon.OpenSerial(tt.name, tt.speed, false)
			got, ok := errors.AsType[*serialmon.OpenError](err)
			if !ok || port != nil || got.Reason != tt.want || got.Name != tt.name || got.Hint == "" {
				t.Fatalf("OpenSerial(%q, %d) = %v, %#v; want no port, reason %q and a hint", tt.name, tt.speed, port, err, tt.want)
			}
			if text := err.Error(); strings.Contains(text, "\n") || !strings.HasPrefix(text, "port \"") {
				t.Errorf("error %q; want one line that names the port", text)
			}
		})
	}
}

// A link that a killed program left behind leads to whoever was given the number
// next: nothing of a stranger's is heard, and nothing is taken from it.
func TestLinkLeftBehindIsNotFollowed(t *testing.T) {
	dir := t.TempDir()
	stranger := newPty(t)
	to, err := os.Readlink(stranger.Path)
	must(t, err)
	left := filepath.Join(dir, "left")
	must(t, os.Symlink(to, left))
	// The number given to somebody else, without waiting for that: the terminal is
	// made to look younger than the link. Setting its times sets its change time.
	var link, terminal unix.Stat_t
	for {
		must(t, os.Chtimes(to, time.Now(), time.Now()))
		must(t, unix.Lstat(left, &link))
		must(t, unix.Stat(to, &terminal))
		if unix.TimespecToNsec(link.Ctim) < unix.TimespecToNsec(terminal.Ctim) { // of the three times the slowest clock's
			break
		}
	}
	chain := filepath.Join(dir, "chain")
	must(t, os.Symlink("left", chain))
	for _, name := range []string{left, chain} {
		_, err := serialmon.OpenSerial(name, 115200, false)
		got, ok := errors.AsType[*serialmon.OpenError](err)
		if !ok || got.Reason != serialmon.ReasonMissing || !strings.Contains(got.Detail, "older") {
			t.Errorf("OpenSerial(%q) = %v; want no such port, the link being older", name, err)
		}
	}
	port, err := serialmon.OpenSerial(to, 115200, false)
	must(t, err)
	must(t, port.Close())
	must(t, os.Remove(left))
	must(t, os.Symlink(to, left))
	port, err = serialmon.OpenSerial(left, 115200, false)
	must(t, err)
	must(t, port.Close())
}

// Whoever was refused a terminal and is given it afterwards opens it by the same link.
func TestLinkToATerminalThatWasGivenAwayIsFollowed(t *testing.T) {
	line := newPty(t)
	to, err := os.Readlink(line.Path)
	must(t, err)
	var link, terminal unix.Stat_t
	must(t, unix.Lstat(line.Path, &link))
	for { // the clock of file times may stand still for a while
		must(t, os.Chmod(to, 0o600))
		must(t, unix.Stat(to, &terminal))
		if unix.TimespecToNsec(link.Ctim) < unix.TimespecToNsec(terminal.Ctim) {
			break
		}
	}
	port, err := serialmon.OpenSerial(line.Path, 115200, false)
	must(t, err)
	must(t, port.Close())
}

// R20: where permission is lacking, the node's own group is named.
func TestOpenNamesTheGroup(t *testing.T) {
	if os.Getuid() == 0 {
		t.Skip("the superuser lacks no permission")
	}
	name := filepath.Join(t.TempDir(), "port")
	must(t, os.WriteFile(name, nil, 0o000))
	_, err := serialmon.OpenSerial(name, 9600, false)
	got, ok := errors.AsType[*serialmon.OpenError](err)
	if !ok || got.Reason != serialmon.ReasonPermission || !strings.Contains(got.Detail, "group \"") {
		t.Errorf("OpenSerial without permission = %v; want the group named", err)
	}
}

// R19: the second of two is refused, for the superuser too, and the first one's
// closing sets the port free.
func TestOnePortOneListener(t *testing.T) {
	line := newPty(t)
	first, err := serialmon.OpenSerial(line.Path, 115200, false)
	must(t, err)
	_, err = serialmon.OpenSerial(line.Path, 115200, false)
	if got, ok := errors.AsType[*serialmon.OpenError](err); !ok || got.Reason != serialmon.ReasonBusy {
		t.Errorf("second OpenSerial = %v; want reason %q", err, serialmon.ReasonBusy)
	}
	must(t, first.Close())
	again, err := serialmon.OpenSerial(line.Path, 115200, false)
	must(t, err)
	must(t, again.Close())
	must(t, again.Close()) // a second Close does nothing
}

// A killed run leaves no exclusive mark behind that would lock the next one out.
func TestNoExclusiveMarkOnPty(t *testing.T) {
	line := newPty(t)
	port, err := serialmon.OpenSerial(line.Path, 115200, false)
	must(t, err)
	defer port.Close()
	other, err := os.OpenFile(line.Path, os.O_RDWR|unix.O_NOCTTY, 0)
	must(t, err)
	defer other.Close()
	excl, err := unix.IoctlGetInt(int(other.Fd()), unix.TIOCGEXCL)
	if err != nil || excl != 0 {
		t.Errorf("exclusive mark = %d, %v; want 0", excl, err)
	}
}

// R22, R23: a line without control lines is opened all the same (a pseudo-terminal has
// none). The line is as it must be to let all bytes through, at the speed asked for, an
// odd one included; and noReset keeps closing from dropping the control lines.
func TestOpenSettings(t *testing.T) {
	for _, tt := range []struct {
		speed   int
		noReset bool
		hupcl   bool
	}{{115200, false, true}, {74880, true, false}, {250000, false, true}} {
		line := newPty(t)
		setHangUp(t, line.Path)
		port, err := serialmon.OpenSerial(line.Path, tt.speed, tt.noReset)
		must(t, err)
		got := settings(t, line.Board())
		if int(got.Ospeed) != tt.speed {
			t.Errorf("speed %d, want %d", got.Ospeed, tt.speed)
		}
		if hupcl := got.Cflag&unix.HUPCL != 0; hupcl != tt.hupcl {
			t.Errorf("noReset %t: hang-up on close is %t, want %t", tt.noReset, hupcl, tt.hupcl)
		}
		if got.Lflag&(unix.ECHO|unix.ICANON|unix.ISIG) != 0 || got.Iflag&(unix.IXON|unix.ICRNL|unix.ISTRIP) != 0 {
			t.Errorf("settings %+v; want a raw line", got)
		}
		must(t, port.SetSpeed(9600))
		if got := settings(t, line.Board()); got.Ospeed != 9600 {
			t.Errorf("after SetSpeed(9600): %d", got.Ospeed)
		}
		if err := port.SetSpeed(-1); err == nil {
			t.Error("SetSpeed(-1) = nil, want an error")
		}
		if err := port.PulseReset(t.Context()); !errors.Is(err, serialmon.ErrNoLines) {
			t.Errorf("PulseReset on a pseudo-terminal = %v, want %v", err, serialmon.ErrNoLines)
		}
		must(t, port.Close())
		if err := port.SetSpeed(9600); !errors.Is(err, serialmon.ErrLost) {
			t.Errorf("SetSpeed after Close = %v, want %v", err, serialmon.ErrLost)
		}
	}
}

// settings reads the line's settings from the board's side.
func settings(t *testing.T, board *os.File) *unix.Termios {
	t.Helper()
	conn, err := board.SyscallConn()
	must(t, err)
	var got *unix.Termios
	var inner error
	must(t, conn.Control(func(fd uintptr) { got, inner = unix.IoctlGetTermios(int(fd), unix.TCGETS2) }))
	must(t, inner)
	return got
}

func setHangUp(t *testing.T, path string) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_RDWR|unix.O_NOCTTY, 0)
	must(t, err)
	defer f.Close()
	s, err := unix.IoctlGetTermios(int(f.Fd()), unix.TCGETS)
	must(t, err)
	s.Cflag |= unix.HUPCL
	must(t, unix.IoctlSetTermios(int(f.Fd()), unix.TCSETS, s))
}

// R27: with more than 1,024 files open the library's Read would panic.
func TestTooManyFilesIsAnError(t *testing.T) {
	var limit unix.Rlimit
	must(t, unix.Getrlimit(unix.RLIMIT_NOFILE, &limit))
	if limit.Cur < 1100 {
		t.Skipf("only %d files may be open here", limit.Cur)
	}
	line := newPty(t)
	var files []*os.File
	defer func() {
		for _, f := range files {
			f.Close()
		}
	}()
	for range 1030 {
		f, err := os.Open("/dev/null")
		must(t, err)
		files = append(files, f)
	}
	_, err := serialmon.OpenSerial(line.Path, 115200, false)
	want := &serialmon.OpenError{Name: line.Path, Reason: serialmon.ReasonDescriptors}
	got, _ := errors.AsType[*serialmon.OpenError](err)
	if got != nil {
		got.Hint = ""
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("OpenSerial with 1,030 files open (-want +got):\n%s", diff)
	}
}

// R24: 1200 is opened when asked for by number, and warned of.
func TestSpeed1200(t *testing.T) {
	if serialmon.SpeedWarning(1200) == "" || serialmon.SpeedWarning(9600) != "" {
		t.Error("want a warning for 1200 and for no other")
	}
	for _, baud := range serialmon.LikelySpeeds() {
		if baud == 1200 {
			t.Error("1200 is tried by itself")
		}
	}
	line := newPty(t)
	port, err := serialmon.OpenSerial(line.Path, 1200, false)
	must(t, err)
	must(t, port.Close())
}
