package link

import (
	"encoding/binary"
	"encoding/csv"
	"encoding/hex"
	"fmt"
	"io"
	"log"
	"net"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/simonvetter/modbus"
)

// reference is the library's own server, which decodes what it is sent and tells which
// coils were asked for.
type reference struct {
	addr string

	mu    sync.Mutex
	asked []string
}

func newReference(t testing.TB) *reference {
	t.Helper()
	addr, err := freePort()
	if err != nil {
		t.Fatal(err)
	}
	r := &reference{addr: addr}
	s, err := modbus.NewServer(&modbus.ServerConfiguration{URL: "tcp://" + addr, MaxClients: 50, Timeout: time.Minute, Logger: log.New(io.Discard, "", 0)}, r)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Stop() })
	return r
}

func (r *reference) HandleCoils(q *modbus.CoilsRequest) ([]bool, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	args := ""
	for _, on := range q.Args {
		args += map[bool]string{true: "1", false: "0"}[on]
	}
	r.asked = append(r.asked, fmt.Sprintf("unit %d, %d from %d, %q", q.UnitId, q.Quantity, q.Addr, args))
	return make([]bool, q.Quantity), nil
}

func (*reference) HandleDiscreteInputs(*modbus.DiscreteInputsRequest) ([]bool, error) {
	return nil, modbus.ErrIllegalFunction
}

func (*reference) HandleHoldingRegisters(*modbus.HoldingRegistersRequest) ([]uint16, error) {
	return nil, modbus.ErrIllegalFunction
}

func (*reference) HandleInputRegisters(*modbus.InputRegistersRequest) ([]uint16, error) {
	return nil, modbus.ErrIllegalFunction
}

// decode has the library decode a stream and returns what it was asked.
func (r *reference) decode(t testing.TB, stream []byte) []string {
	t.Helper()
	r.mu.Lock()
	r.asked = nil
	r.mu.Unlock()
	conn, err := net.Dial("tcp", r.addr)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if err := conn.SetDeadline(time.Now().Add(10 * time.Second)); err != nil {
		t.Fatal(err)
	}
	go func() {
		_, _ = conn.Write(stream) // the server may have ended it
		_ = conn.(*net.TCPConn).CloseWrite()
	}()
	_, _ = io.Copy(io.Discard, conn) // until the server has done with it; it may end with a reset
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.asked
}

// decodeOurs is what our decoder makes of a stream in pieces of a size, as far as the
// library would go: it ends a connection at a request whose fields contradict each other.
func decodeOurs(stream []byte, piece int) (asked []string) {
	var d decoder
	for over := false; len(stream) > 0 && !over; {
		n := min(piece, len(stream))
		_, err := d.feed(stream[:n], time.Time{}, func(a arrival) error {
			r, err := ParseRequest(a.adu)
			if err != nil || !r.Sound {
				return io.EOF
			}
			quantity := len(r.Values)
			if r.Function == readCoils {
				quantity = int(binary.BigEndian.Uint16(a.adu[10:]))
			}
			if !r.Coils || r.Address+quantity > 65536 {
				return nil
			}
			args := ""
			for _, v := range r.Values {
				args += fmt.Sprint(v)
			}
			asked = append(asked, fmt.Sprintf("unit %d, %d from %d, %q", r.Unit, quantity, r.Address, args))
			return nil
		})
		over = err != nil
		stream = stream[n:]
	}
	return asked
}

// The library's decoder is the reference: both take the same coil requests out of any
// bytes, and ours does so in whatever pieces they come.
func FuzzDecoderAgainstTheLibrary(f *testing.F) {
	file, err := os.Open("../../testdata/tables/modbus_tcp_adu_computed.csv")
	if err != nil {
		f.Fatal(err)
	}
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		f.Fatal(err)
	}
	var all []byte
	for _, row := range rows[1:] {
		adu, err := hex.DecodeString(strings.ReplaceAll(row[1], " ", ""))
		if err != nil {
			f.Fatal(err)
		}
		all = append(all, adu...)
		f.Add(adu, 1)
	}
	f.Add(all, 5)
	f.Add([]byte{0, 1, 0, 1, 0, 6, 1, 5, 0, 0, 0xFF, 0}, 3)
	f.Add([]byte{0, 1, 0, 0, 0, 6, 1, 5, 0, 0, 0xFF, 1}, 3)
	f.Add([]byte{0, 1, 0, 0, 0, 255, 1, 1, 0, 0, 0, 1}, 3)
	f.Add([]byte{0, 1, 0, 0, 0, 6, 1, 1, 0xFF, 0xFF, 0, 2, 0, 1, 0, 0, 0, 6, 1, 1, 0, 0, 0, 1}, 7)
	reference := newReference(f)
	f.Fuzz(func(t *testing.T, stream []byte, piece int) {
		piece = 1 + (piece&0xFFF)%300
		want := reference.decode(t, stream)
		if diff := cmp.Diff(want, decodeOurs(stream, piece)); diff != "" {
			t.Errorf("% X in pieces of %d (-library +ours):\n%s", stream, piece, diff)
		}
	})
}
