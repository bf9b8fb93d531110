package link_test

import (
	"bufio"
	"bytes"
	"net"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"propwright/checklist"
	"propwright/checklist/link"
)

// missing skips a check whose outside peer is not there; under CI that is a failure.
func missing(t testing.TB, debian string) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatalf("needs from Debian: %s", debian)
	}
	t.Skipf("needs from Debian: %s", debian)
}

const python = "/usr/bin/python3"

// needsPeer skips where a library is not there.
func needsPeer(t testing.TB, library string) {
	t.Helper()
	probe, debian := map[string]string{"pymodbus": "import pymodbus.client, pymodbus.server", "libmodbus": "import ctypes; ctypes.CDLL('libmodbus.so.5')"}[library],
		map[string]string{"pymodbus": "python3-pymodbus, python3-serial and python3-serial-asyncio", "libmodbus": "libmodbus5"}[library]
	if exec.Command(python, "-c", probe).Run() != nil {
		missing(t, debian)
	}
}

// peerController starts a controller that was not written here and returns its address.
func peerController(t *testing.T, library string) string {
	t.Helper()
	needsPeer(t, library)
	cmd := exec.CommandContext(t.Context(), python, "testdata/peers.py", library, "controller")
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		in.Close()
		_ = cmd.Wait() // it ends with its input
	})
	port, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	addr := net.JoinHostPort("127.0.0.1", strings.TrimSpace(port))
	for { // it says its port a moment before it listens
		conn, err := net.Dial("tcp", addr)
		if err == nil {
			conn.Close()
			return addr
		}
		if t.Context().Err() != nil {
			t.Fatal(err)
		}
	}
}

// runPeerBoard has a client that was not written here do its part, and returns what it
// read of coils 20 to 38.
func runPeerBoard(t *testing.T, library, addr string, unit int) string {
	t.Helper()
	_, port, err := net.SplitHostPort(addr)
	if err != nil {
		t.Fatal(err)
	}
	if library != "mbpoll" {
		needsPeer(t, library)
		var errs bytes.Buffer
		cmd := exec.CommandContext(t.Context(), python, "testdata/peers.py", library, "board", port, strconv.Itoa(unit))
		cmd.Stderr = &errs
		out, err := cmd.Output()
		if err != nil {
			t.Fatalf("%s: %v\n%s", library, err, &errs)
		}
		return strings.TrimSpace(string(out))
	}
	if _, err := exec.LookPath("mbpoll"); err != nil {
		missing(t, "mbpoll")
	}
	run := func(args ...string) string {
		args = append([]string{"-m", "tcp", "-p", port, "-a", strconv.Itoa(unit), "-t", "0", "-1"}, args...)
		out, err := exec.CommandContext(t.Context(), "mbpoll", args...).CombinedOutput()
		if err != nil {
			t.Fatalf("mbpoll %v: %v\n%s", args, err, out)
		}
		return string(out)
	}
	run("-r", "173", "127.0.0.1", "1")
	run(append([]string{"-r", "20", "127.0.0.1"}, strings.Split("1011001110", "")...)...)
	var read strings.Builder
	for _, line := range strings.Split(run("-r", "20", "-c", "19", "127.0.0.1"), "\n") {
		if _, value, ok := strings.Cut(line, "]: \t"); ok {
			read.WriteString(strings.TrimSpace(value))
		}
	}
	return read.String()
}

// Every board that was not written here at every controller that was not, with the tap
// between, and at the stand-in: coil 173 is address 172, and what is written is read
// back (Application Protocol V1.1b3, 6.5, 6.11, 6.1).
func TestIndependentBoardsAndControllers(t *testing.T) {
	const ten = "1011001110"
	for _, controller := range []string{"stand-in", "pymodbus", "libmodbus"} {
		for _, board := range []string{"mbpoll", "pymodbus", "libmodbus"} {
			t.Run(board+" at "+controller, func(t *testing.T) {
				var addr string
				var l *ledger
				if controller == "stand-in" {
					var s *link.StandIn
					s, l = listen(t, nil)
					addr = s.Addr()
				} else {
					var tap *link.Tap
					tap, l = tapBefore(t, peerController(t, controller), nil)
					addr = tap.Addr()
				}
				if got := runPeerBoard(t, board, addr, 1); got != ten+"000000000" {
					t.Errorf("read coils 20 to 38 as %s; want %s and nine off", got, ten)
				}
				type request struct {
					Unit, Function, Address, Coil int
					Values                        []int
					Answer                        string
				}
				want := []request{
					{1, 5, 172, 173, []int{1}, "ok"},
					{1, 15, 19, 20, []int{1, 0, 1, 1, 0, 0, 1, 1, 1, 0}, "ok"},
					{1, 1, 19, 20, nil, "ok"},
				}
				var got []request
				for _, f := range l.all() {
					if f.Kind == checklist.FrameRequest {
						got = append(got, request{f.Unit, f.Function, f.Address, f.Coil, f.Values, f.Answer})
					}
				}
				if diff := cmp.Diff(want, got); diff != "" {
					t.Errorf("on record (-want +got):\n%s", diff)
				}
			})
		}
	}
}

// Every request of the specification that concerns coils, byte for byte, through the
// tap at a controller that was not written here. It has 1000 coils, so output 1186 of
// section 7's example does not exist there.
func TestTheSpecificationsCoilsAtAnotherController(t *testing.T) {
	tap, l := tapBefore(t, peerController(t, "libmodbus"), nil)
	conn := dial(t, tap.Addr())
	n := 0
	for _, row := range table(t, "modbus_pdu_vectors.csv") {
		switch row["id"] {
		case "write-single-coil", "write-multiple-coils", "exception":
		default:
			continue
		}
		n++
		request, reply := framed(0xFF, unhex(t, row["request_hex"])), framed(0xFF, unhex(t, row["response_hex"]))
		if got := ask(t, conn, request); !bytes.Equal(got, reply) {
			t.Errorf("%s: % X is answered % X; want % X", row["id"], request, got, reply)
		}
	}
	// 6.1: outputs 20 to 38 as the example has them, CD 6B 05.
	ask(t, conn, framed(0xFF, unhex(t, "0F 00 13 00 13 03 CD 6B 05")))
	if got, want := ask(t, conn, framed(0xFF, unhex(t, "01 00 13 00 13"))), framed(0xFF, unhex(t, "01 03 CD 6B 05")); !bytes.Equal(got, want) {
		t.Errorf("outputs 20 to 38 are read as % X; want % X", got, want)
	}
	if n != 3 {
		t.Errorf("%d examples found in the table, want 3", n)
	}
	answers := map[string]int{}
	for _, f := range l.all() {
		answers[f.Answer]++
	}
	if answers["ok"] != 4 || answers["exception 02"] != 1 {
		t.Errorf("answers on record %v; want four ok and one exception 02", answers)
	}
}
