package virtual

import (
	"bytes"
	"encoding/hex"
	"errors"
	"io"
	"log"
	"net"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/simonvetter/modbus"
)

// The request of the Modbus application protocol V1.1b3, 6.5: output 173 on is
// function 05, address 00AC, value FF00. The header is that of Messaging on TCP/IP
// V1.0b, 3.1.3.
func TestCoilRequest(t *testing.T) {
	for _, tt := range []struct {
		on   bool
		want string
	}{{true, "150100000006ff0500acff00"}, {false, "150100000006ff0500ac0000"}} {
		if got := hex.EncodeToString(coilRequest(0x1501, 0xFF, writeSingleCoil, 0x00AC, tt.on)); got != tt.want {
			t.Errorf("coilRequest(on %t) = %s, want %s", tt.on, got, tt.want)
		}
	}
}

func TestCheckAnswer(t *testing.T) {
	request, _ := hex.DecodeString("15010000000601050074ff00")
	for name, tt := range map[string]struct {
		answer    string
		ok        bool
		exception bool
	}{
		"echo":                {answer: "15010000000601050074ff00", ok: true},
		"other value":         {answer: "150100000006010500740000"},
		"other transaction":   {answer: "15020000000601050074ff00"},
		"other unit":          {answer: "15010000000602050074ff00"},
		"illegal address, 02": {answer: "150100000003018502", exception: true},
		"other function":      {answer: "150100000003018102"},
	} {
		adu, err := hex.DecodeString(tt.answer)
		if err != nil {
			t.Fatal(err)
		}
		read, err := readADU(iotest.OneByteReader(bytes.NewReader(adu)))
		if err != nil {
			t.Fatalf("%s: readADU: %v", name, err)
		}
		err = checkAnswer(request, read)
		if (err == nil) != tt.ok || isException(err) != tt.exception {
			t.Errorf("%s: checkAnswer = %v, want ok %t, exception %t", name, err, tt.ok, tt.exception)
		}
	}
	if err := error(exception(2)); err.Error() != "exception 02" {
		t.Errorf("exception 2 reads %q", err)
	}
}

func FuzzReadADU(f *testing.F) {
	f.Add([]byte("\x15\x01\x00\x00\x00\x06\x01\x05\x00\x74\xff\x00"))
	f.Add([]byte("\x15\x01\x00\x00\xff\xff\x01"))
	request := coilRequest(0x1501, 1, writeSingleCoil, 0x74, true)
	f.Fuzz(func(t *testing.T, in []byte) {
		adu, err := readADU(bytes.NewReader(in))
		if err != nil {
			return
		}
		if !bytes.HasPrefix(in, adu) || len(adu) > aduMost {
			t.Errorf("readADU(% X) = % X", in, adu)
		}
		if checkAnswer(request, adu) == nil && !bytes.Equal(adu[headerSize:], request[headerSize:]) {
			t.Errorf("% X taken for the answer to % X", adu, request)
		}
	})
}

// coils is a controller made with a library that is not ours.
type coils struct{ got chan modbus.CoilsRequest }

func (c coils) HandleCoils(r *modbus.CoilsRequest) ([]bool, error) {
	if r.Addr == 500 {
		return nil, modbus.ErrIllegalDataAddress
	}
	c.got <- *r
	return r.Args, nil
}

func (coils) HandleDiscreteInputs(*modbus.DiscreteInputsRequest) ([]bool, error) {
	return nil, modbus.ErrIllegalFunction
}

func (coils) HandleHoldingRegisters(*modbus.HoldingRegistersRequest) ([]uint16, error) {
	return nil, modbus.ErrIllegalFunction
}

func (coils) HandleInputRegisters(*modbus.InputRegistersRequest) ([]uint16, error) {
	return nil, modbus.ErrIllegalFunction
}

func TestWireAgainstAnotherServer(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	l.Close()
	handler := coils{got: make(chan modbus.CoilsRequest, 4)}
	server, err := modbus.NewServer(&modbus.ServerConfiguration{
		URL: "tcp://" + address, Timeout: time.Minute, MaxClients: 2, Logger: log.New(io.Discard, "", 0),
	}, handler)
	if err != nil {
		t.Fatal(err)
	}
	if err := server.Start(); err != nil {
		t.Fatal(err)
	}
	conn, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	w := newWire(conn, 17)
	defer w.close()
	for _, on := range []bool{true, false} {
		if sent, err := w.writeCoil(writeSingleCoil, 116, on, 10*time.Second); !sent || err != nil {
			t.Fatalf("writeCoil(116, %t) = %t, %v", on, sent, err)
		}
		got := <-handler.got
		if got.UnitId != 17 || got.Addr != 116 || !got.IsWrite || len(got.Args) != 1 || got.Args[0] != on {
			t.Errorf("the server was asked %+v, want unit 17, coil 116, %t", got, on)
		}
	}
	if _, err := w.writeCoil(writeSingleCoil, 500, true, 10*time.Second); !errors.Is(err, exception(2)) {
		t.Errorf("writeCoil at an address that is refused: %v, want exception 02", err)
	}
	if w.closedByPeer() {
		t.Error("closed by the peer, says the wire, while it is open")
	}
	if err := server.Stop(); err != nil {
		t.Fatal(err)
	}
	conn.SetReadDeadline(time.Now().Add(20 * time.Second))
	if _, err := conn.Read(make([]byte, 1)); !errors.Is(err, io.EOF) {
		t.Fatalf("after the server stopped: %v", err)
	}
	if !w.closedByPeer() {
		t.Error("not closed by the peer, says the wire, after the server stopped")
	}
}

func FuzzDecodeMemory(f *testing.F) {
	f.Add([]byte(`{"virtual_board_memory":1,"master":"04A1B2C3D4E5F6","cards":["5C0A91E3"]}`))
	f.Add([]byte(`{"virtual_board_memory":1,"master":"","cards":null}`))
	f.Add([]byte(`[]`))
	f.Fuzz(func(t *testing.T, in []byte) {
		m, err := decodeMemory(in)
		if err != nil {
			return
		}
		out, err := m.encode()
		if err != nil {
			t.Fatal(err)
		}
		again, err := decodeMemory(out)
		if err != nil {
			t.Fatalf("written image %q: %v", out, err)
		}
		if diff := cmp.Diff([]any{m.Master, m.Cards}, []any{again.Master, again.Cards}); diff != "" {
			t.Errorf("image (-first +again):\n%s", diff)
		}
	})
}

func FuzzControlLine(f *testing.F) {
	for _, s := range []string{
		`{"op":"place","role":"show","spacing_mm":6}`, `{"op":"place","uid":"04 3F A1 22 B7 60 80"}`, `{"op":"usb","in":false}`,
		`{"op":"supply","on":true}`, `{"op":"lamps"}`, `{"op":"reset"}`, `{`, `null`, `{"op":"place","spacing_mm":1e999}`,
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, line []byte) {
		b, err := New(Config{})
		if err != nil {
			t.Fatal(err)
		}
		defer b.Close()
		if err := b.Connect(NewMemoryLine()); err != nil {
			t.Fatal(err)
		}
		reply := answer(b, line, nil)
		if strings.Contains(reply.Error, "\n") {
			t.Errorf("answer(%q): error %q is more than a line", line, reply.Error)
		}
		if reply.Error != "" && reply.Lamps != nil {
			t.Errorf("answer(%q) = %+v, want one or the other", line, reply)
		}
	})
}
