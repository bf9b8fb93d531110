package link

import (
	"fmt"
	"io"
	"log"
	"net"
	"sync"
	"time"

	"github.com/simonvetter/modbus"
)

// A server is the Modbus TCP server behind the tap, on a private port of the
// loopback interface. Its coils are all that it has.
type server struct {
	addr  string
	inner *modbus.ModbusServer

	mu    sync.Mutex
	coils [65536]bool
	ours  map[string]bool // local addresses of the tap's own connections
}

// portTries is how often a free port may be taken by somebody else between being
// found and being used.
const portTries = 5

// startServer starts the server. The library does not tell which port it got, so
// a free one is found first.
func startServer(maxConns int, maxSilence time.Duration) (*server, error) {
	var last error
	for range portTries {
		addr, err := freePort()
		if err != nil {
			return nil, err
		}
		s := &server{addr: addr, ours: map[string]bool{}}
		s.inner, err = modbus.NewServer(&modbus.ServerConfiguration{
			URL: "tcp://" + addr, Logger: log.New(io.Discard, "", 0),
			MaxClients: uint(2 * maxConns),       // it takes a connection off some time after its end
			Timeout:    maxSilence + time.Minute, // the tap is the one to lose patience
		}, s)
		if err != nil {
			return nil, fmt.Errorf("modbus server: %w", err)
		}
		if last = s.inner.Start(); last == nil {
			return s, nil
		}
	}
	return nil, fmt.Errorf("modbus server: %w", last)
}

func freePort() (string, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", fmt.Errorf("modbus server: %w", err)
	}
	defer l.Close()
	return l.Addr().String(), nil
}

// dial opens one of the tap's own connections.
func (s *server) dial() (net.Conn, error) {
	conn, err := net.Dial("tcp", s.addr)
	if err != nil {
		return nil, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.ours[conn.LocalAddr().String()] = true
	return conn, nil
}

// hangUp closes one of them.
func (s *server) hangUp(conn net.Conn) {
	s.mu.Lock()
	delete(s.ours, conn.LocalAddr().String())
	s.mu.Unlock()
	_ = conn.Close() // the answers are in, nothing is left to be lost
}

func (s *server) coil(address int) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return address >= 0 && address < len(s.coils) && s.coils[address]
}

// stop ends the server and its connections.
func (s *server) stop() error { return s.inner.Stop() }

// HandleCoils reads and writes coils; only for the tap, so that no coil changes
// without a record.
func (s *server) HandleCoils(r *modbus.CoilsRequest) ([]bool, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.ours[r.ClientAddr] {
		return nil, modbus.ErrIllegalFunction
	}
	part := s.coils[r.Addr : int(r.Addr)+int(r.Quantity)]
	if r.IsWrite {
		copy(part, r.Args)
	}
	return append([]bool(nil), part...), nil
}

// HandleDiscreteInputs answers that there are none.
func (*server) HandleDiscreteInputs(*modbus.DiscreteInputsRequest) ([]bool, error) {
	return nil, modbus.ErrIllegalFunction
}

// HandleHoldingRegisters answers that there are none.
func (*server) HandleHoldingRegisters(*modbus.HoldingRegistersRequest) ([]uint16, error) {
	return nil, modbus.ErrIllegalFunction
}

// HandleInputRegisters answers that there are none.
func (*server) HandleInputRegisters(*modbus.InputRegistersRequest) ([]uint16, error) {
	return nil, modbus.ErrIllegalFunction
}
