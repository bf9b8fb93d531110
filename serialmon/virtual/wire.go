package virtual

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net"
	"time"
)

// The parts of Modbus TCP that the board speaks: Modbus Application Protocol
// V1.1b3, 6.5 (write single coil) and 7 (exceptions); Messaging on TCP/IP V1.0b,
// 3.1.3 (the header).
const (
	writeSingleCoil = 0x05
	writeSingleReg  = 0x06 // 6.6, by the fault wrong-function only
	exceptionBit    = 0x80
	headerSize      = 7
	aduMost         = 260
)

// An exception is a controller's refusal.
type exception byte

func (e exception) Error() string { return fmt.Sprintf("exception %02X", byte(e)) }

func isException(err error) bool {
	_, is := errors.AsType[exception](err)
	return is
}

// A wire is the board's connection to its controller. It is a client of the
// project's own because the board must be able to look, without waiting, whether
// the controller has hung up, which a simulated clock depends on.
type wire struct {
	conn net.Conn
	unit byte
	txn  uint16
}

func newWire(c net.Conn, unit byte) *wire { return &wire{conn: c, unit: unit} }

// close lets the connection go; there is nothing to be done about an error of it.
func (w *wire) close() { w.conn.Close() }

// giveUp ends the waiting for an answer.
func (w *wire) giveUp() { _ = w.conn.SetDeadline(time.Unix(1, 0)) } // fails only where it is closed, which ends it too

// closedByPeer looks whether the controller has closed the connection.
func (w *wire) closedByPeer() bool { return hungUp(w.conn) }

// writeCoil asks for a coil to be switched. sent is false when the request has
// certainly not left the board.
func (w *wire) writeCoil(function byte, address uint16, on bool, within time.Duration) (sent bool, err error) {
	request, sent, err := w.request(function, address, on, within)
	if err != nil {
		return sent, err
	}
	answer, err := readADU(w.conn)
	if err != nil {
		return true, err
	}
	return true, checkAnswer(request, answer)
}

// askCoil is writeCoil without waiting for the answer.
func (w *wire) askCoil(function byte, address uint16, on bool, within time.Duration) (sent bool, err error) {
	_, sent, err = w.request(function, address, on, within)
	return sent, err
}

func (w *wire) request(function byte, address uint16, on bool, within time.Duration) (request []byte, sent bool, err error) {
	if err := w.conn.SetDeadline(time.Now().Add(within)); err != nil {
		return nil, false, err
	}
	w.txn++
	request = coilRequest(w.txn, w.unit, function, address, on)
	n, err := w.conn.Write(request)
	return request, n == len(request), err
}

func coilRequest(txn uint16, unit, function byte, address uint16, on bool) []byte {
	value := uint16(0x0000)
	if on {
		value = 0xFF00
	}
	b := binary.BigEndian.AppendUint16(nil, txn)
	b = binary.BigEndian.AppendUint16(b, 0) // protocol
	b = binary.BigEndian.AppendUint16(b, 6) // bytes that follow
	b = append(b, unit, function)
	b = binary.BigEndian.AppendUint16(b, address)
	return binary.BigEndian.AppendUint16(b, value)
}

// readADU reads one frame, header and all.
func readADU(r io.Reader) ([]byte, error) {
	adu := make([]byte, headerSize, aduMost)
	if _, err := io.ReadFull(r, adu); err != nil {
		return nil, err
	}
	n := int(binary.BigEndian.Uint16(adu[4:]))
	if n < 2 || n > aduMost-headerSize+1 {
		return nil, fmt.Errorf("modbus header: length %d, must be 2 to %d", n, aduMost-headerSize+1)
	}
	adu = adu[:headerSize+n-1]
	_, err := io.ReadFull(r, adu[headerSize:])
	return adu, err
}

// checkAnswer compares an answer with its request: a write is echoed.
func checkAnswer(request, answer []byte) error {
	if string(answer[:4]) != string(request[:4]) || answer[6] != request[6] {
		return errors.New("modbus answer: not to this request")
	}
	switch pdu := answer[headerSize:]; {
	case len(pdu) == 2 && pdu[0] == request[headerSize]|exceptionBit:
		return exception(pdu[1])
	case string(pdu) != string(request[headerSize:]):
		return errors.New("modbus answer: not the echo of the request")
	}
	return nil
}
