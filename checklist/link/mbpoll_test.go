package link_test

import (
	"net"
	"os/exec"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// mbpoll (Debian package mbpoll) is a Modbus client that was not written here.
func TestMbpollWritesAndReadsCoils(t *testing.T) {
	program, err := exec.LookPath("mbpoll")
	if err != nil {
		missing(t, "mbpoll")
	}
	s, l := listen(t, nil)
	_, port, err := net.SplitHostPort(s.Addr())
	if err != nil {
		t.Fatal(err)
	}
	run := func(args ...string) string {
		t.Helper()
		args = append([]string{"-m", "tcp", "-p", port, "-a", "1", "-t", "0", "-1"}, args...)
		out, err := exec.CommandContext(t.Context(), program, args...).CombinedOutput()
		if err != nil {
			t.Fatalf("mbpoll %v: %v\n%s", args, err, out)
		}
		return string(out)
	}
	run("-r", "117", "127.0.0.1", "1")
	if !s.Coil(117) || s.Coil(118) || s.Coil(116) {
		t.Errorf("after mbpoll wrote reference 117, coils 116 to 118 are %t %t %t", s.Coil(116), s.Coil(117), s.Coil(118))
	}
	if out := run("-r", "116", "-c", "3", "127.0.0.1"); !strings.Contains(out, "[117]: \t1") || !strings.Contains(out, "[118]: \t0") {
		t.Errorf("mbpoll reads:\n%s\nwant 117 on and 118 off", out)
	}
	run("-r", "117", "127.0.0.1", "0", "1")
	var writes []string
	for _, f := range l.all() {
		if f.Function == 5 || f.Function == 15 {
			writes = append(writes, strconv.Itoa(f.Function)+" "+strconv.Itoa(f.Coil)+" "+f.Answer)
			if f.Unit != 1 || f.Address != 116 {
				t.Errorf("recorded %+v; want unit 1, address 116", f)
			}
		}
	}
	if diff := cmp.Diff([]string{"5 117 ok", "15 117 ok"}, writes); diff != "" || !s.Coil(118) {
		t.Errorf("writes (-want +got), coil 118 %t:\n%s", s.Coil(118), diff)
	}
}
