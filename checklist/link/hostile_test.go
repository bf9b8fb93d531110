package link_test

import (
	"bytes"
	"math/rand/v2"
	"net"
	"os"
	"runtime"
	"strings"
	"testing"
	"time"

	"propwright/checklist"
	"propwright/checklist/link"
)

// quietLedger keeps nothing, so that a flood does not fill it.
type quietLedger struct{ ledger }

func (*quietLedger) record(checklist.Frame) error { return nil }

// works sees that a sound client is served as ever.
func works(t *testing.T, addr string) {
	t.Helper()
	request := framed(0xFF, unhex(t, "05 00 AC FF 00"))
	conn := dial(t, addr)
	defer conn.Close()
	if got := ask(t, conn, request); !bytes.Equal(got, request) {
		t.Errorf("a sound client is answered % X", got)
	}
}

func TestAFrameThatIsNeverWholeEndsTheConnection(t *testing.T) {
	s, l := listen(t, func(c *link.Config) { c.MaxFrame = 20 * time.Millisecond })
	conn := dial(t, s.Addr())
	send(t, conn, []byte{0, 1, 0})
	if n, err := conn.Read(make([]byte, 1)); n != 0 || err == nil {
		t.Errorf("the slow sender reads %d bytes, %v; want its end", n, err)
	}
	frames := l.await(t, 3)
	if frames[1].Kind != checklist.FrameMalformed || frames[1].Request != "000100" || !strings.Contains(frames[2].Why, "not whole within") {
		t.Errorf("on record %+v; want what came, and why it ended", frames[1:])
	}
	works(t, s.Addr())
}

// A sender a byte at a time that gets there in time is a slow one, not a hostile one,
// and its frame has two times.
func TestASlowSenderThatGetsThereIsServed(t *testing.T) {
	s, _ := listen(t, nil)
	conn := dial(t, s.Addr())
	request := framed(0xFF, unhex(t, "05 00 AC FF 00"))
	for _, b := range request {
		send(t, conn, []byte{b})
	}
	if got, err := link.ReadADU(conn); err != nil || !bytes.Equal(got, request) {
		t.Errorf("answered % X, %v", got, err)
	}
}

// worksSoon is works where a place has to come free first: a client is turned away
// until the last of those that have gone is off the list.
func worksSoon(t *testing.T, addr string) {
	t.Helper()
	request := framed(0xFF, unhex(t, "05 00 AC FF 00"))
	limit := time.Now().Add(10 * time.Second)
	for {
		conn := dial(t, addr)
		_, _ = conn.Write(request) // it may be turned away
		got, err := link.ReadADU(conn)
		conn.Close()
		if bytes.Equal(got, request) {
			return
		}
		if time.Now().After(limit) {
			t.Fatalf("no room for a sound client: % X, %v", got, err)
		}
	}
}

// descriptors are how many this process has open, 0 where the system does not tell.
func descriptors() int {
	open, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		return 0
	}
	return len(open)
}

// Ten thousand knock while the few that are allowed are there: all are turned away, the
// few are served on, and the descriptors stay far below 1,024, beyond which the serial
// library's select has no room (FD_SETSIZE).
func TestTenThousandConnectionAttempts(t *testing.T) {
	attempts := 10_000
	if testing.Short() {
		attempts = 500
	}
	var l quietLedger
	s, err := link.Listen(t.Context(), link.Config{Addr: "127.0.0.1:0", Clock: &l, Record: l.record, MaxConns: 4})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	request := framed(0xFF, unhex(t, "05 00 AC FF 00"))
	var few []net.Conn
	for range 4 {
		conn := dial(t, s.Addr())
		ask(t, conn, request)
		few = append(few, conn)
	}
	most := 0
	for i := range attempts {
		conn, err := net.Dial("tcp", s.Addr())
		if err != nil {
			t.Fatalf("attempt %d: %v", i, err)
		}
		if n, err := conn.Read(make([]byte, 1)); n != 0 || err == nil {
			t.Fatalf("attempt %d reads %d bytes, %v; want its end", i, n, err)
		}
		conn.Close()
		if i%500 == 0 {
			most = max(most, descriptors())
		}
	}
	if got := s.Refused(); got != uint64(attempts) {
		t.Errorf("%d turned away, want %d", got, attempts)
	}
	if most > 200 {
		t.Errorf("%d descriptors open", most)
	}
	for _, conn := range few {
		if err := conn.SetDeadline(time.Now().Add(10 * time.Second)); err != nil {
			t.Fatal(err)
		}
		if got := ask(t, conn, request); !bytes.Equal(got, request) {
			t.Errorf("one of the few is answered % X", got)
		}
	}
}

// Lengths that lie and random bytes, many connections of them: the stand-in goes on,
// and neither goroutines nor descriptors are left behind.
func TestRandomBytesDoNoHarm(t *testing.T) {
	connections := 2000
	if testing.Short() {
		connections = 200
	}
	var l quietLedger
	s, err := link.Listen(t.Context(), link.Config{Addr: "127.0.0.1:0", Clock: &l, Record: l.record})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	works(t, s.Addr())
	before := runtime.NumGoroutine()
	random := rand.New(rand.NewPCG(5227, 502))
	for i := range connections {
		conn, err := net.Dial("tcp", s.Addr())
		if err != nil {
			t.Fatal(err)
		}
		b := make([]byte, 1+random.IntN(600))
		for k := range b {
			b[k] = byte(random.Uint32())
		}
		if i%2 == 0 && len(b) > 8 { // a sound header with any length
			copy(b, []byte{0, 1, 0, 0, b[4] & 1, b[5], 1, b[7] & 0x1F})
		}
		_, _ = conn.Write(b) // it may be closed already
		if i%3 == 0 {
			_ = conn.(*net.TCPConn).SetLinger(0) // as a board that is reset
		}
		conn.Close()
	}
	limit := time.Now().Add(20 * time.Second)
	for runtime.NumGoroutine() > before+8 && time.Now().Before(limit) {
		runtime.Gosched()
	}
	if n := runtime.NumGoroutine(); n > before+8 {
		t.Errorf("%d goroutines, %d before", n, before)
	}
	if n := descriptors(); n > 200 {
		t.Errorf("%d descriptors open", n)
	}
	worksSoon(t, s.Addr())
}

// Connections that say nothing hold a place only until their silence is too long.
func TestHalfOpenConnectionsMakeRoom(t *testing.T) {
	var l quietLedger
	s, err := link.Listen(t.Context(), link.Config{Addr: "127.0.0.1:0", Clock: &l, Record: l.record, MaxConns: 8, MaxSilence: 50 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	var silent []net.Conn
	for range 8 {
		silent = append(silent, dial(t, s.Addr()))
	}
	for _, conn := range silent {
		if n, err := conn.Read(make([]byte, 1)); n != 0 || err == nil {
			t.Errorf("a silent connection reads %d bytes, %v; want its end", n, err)
		}
	}
	worksSoon(t, s.Addr())
}
