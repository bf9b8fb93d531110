package link

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"propwright/checklist"
)

// Sizes of a Modbus TCP frame (MODBUS Messaging on TCP/IP Implementation Guide
// V1.0b, 3.1.3: a header of seven bytes; Application Protocol V1.1b3, 4.1: an ADU
// of at most 260).
const (
	headerSize = 7
	maxADU     = 260
)

// Function codes that the tap looks into (Application Protocol V1.1b3, 6).
const (
	readCoils         = 0x01
	readInputs        = 0x02
	readHolding       = 0x03
	readInputRegs     = 0x04
	writeCoil         = 0x05
	writeRegister     = 0x06
	writeCoils        = 0x0F
	writeRegisters    = 0x10
	exceptionBit      = 0x80
	exceptionDataCode = 0x03 // illegal data value
)

// ErrMalformed says that bytes are no Modbus TCP frame.
var ErrMalformed = errors.New("malformed frame")

// frameSize is the size of the whole frame that a header of seven bytes begins. It
// fails with ErrMalformed where the header cannot be one.
func frameSize(header []byte) (int, error) {
	length := int(binary.BigEndian.Uint16(header[4:6])) // of unit and PDU
	switch {
	case binary.BigEndian.Uint16(header[2:4]) != 0:
		return 0, fmt.Errorf("%w: protocol identifier %d, want 0", ErrMalformed, binary.BigEndian.Uint16(header[2:4]))
	case length < 2 || headerSize-1+length > maxADU:
		return 0, fmt.Errorf("%w: length %d, want 2 to %d", ErrMalformed, length, maxADU-headerSize+1)
	}
	return headerSize - 1 + length, nil
}

// ReadADU reads one whole frame, header included. The bytes read so far come with
// every error: io.EOF only before the first byte, ErrMalformed as soon as the
// header cannot be one. No more than 260 bytes are taken.
func ReadADU(r io.Reader) ([]byte, error) {
	adu := make([]byte, headerSize, maxADU)
	if n, err := io.ReadFull(r, adu); err != nil {
		return adu[:n], err
	}
	size, err := frameSize(adu)
	if err != nil {
		return adu, err
	}
	adu = adu[:size]
	n, err := io.ReadFull(r, adu[headerSize:])
	if errors.Is(err, io.EOF) {
		err = io.ErrUnexpectedEOF
	}
	return adu[:headerSize+n], err
}

// A Request is what a request's frame asks for.
type Request struct {
	Unit, Function int
	Address        int   // as on the wire; -1 where the function has none
	Coils          bool  // the address is one of coils
	Values         []int // what is written: coils as 0 or 1, or registers
	// Sound is false where the fields of a known function contradict each other,
	// which a controller answers with exception 03.
	Sound bool
}

// ParseRequest reads a whole frame as ReadADU returns it. It fails with
// ErrMalformed on anything that is no whole frame.
func ParseRequest(adu []byte) (Request, error) {
	if len(adu) <= headerSize || len(adu) > maxADU || int(binary.BigEndian.Uint16(adu[4:6])) != len(adu)-headerSize+1 {
		return Request{}, fmt.Errorf("%w: %d bytes", ErrMalformed, len(adu))
	}
	r := Request{Unit: int(adu[6]), Function: int(adu[7]), Address: -1, Sound: true}
	body := adu[8:]
	switch r.Function {
	case readCoils, readInputs, readHolding, readInputRegs, writeCoil, writeRegister, writeCoils, writeRegisters:
	default:
		return r, nil
	}
	r.Coils = r.Function == readCoils || r.Function == writeCoil || r.Function == writeCoils
	if len(body) < 4 {
		r.Sound = false
		return r, nil
	}
	r.Address = int(binary.BigEndian.Uint16(body))
	second := int(binary.BigEndian.Uint16(body[2:4])) // a value or a quantity
	switch r.Function {
	case readCoils, readInputs:
		r.Sound = len(body) == 4 && second >= 1 && second <= 2000
	case readHolding, readInputRegs:
		r.Sound = len(body) == 4 && second >= 1 && second <= 125
	case writeCoil:
		if r.Sound = len(body) == 4 && (second == 0xFF00 || second == 0); r.Sound {
			r.Values = []int{second / 0xFF00}
		}
	case writeRegister:
		r.Sound, r.Values = len(body) == 4, []int{second}
	case writeCoils:
		r.Values = bits(body[4:], second)
		r.Sound = r.Values != nil
	case writeRegisters:
		r.Values = words(body[4:], second)
		r.Sound = r.Values != nil
	}
	return r, nil
}

// bits reads a byte count and n coils, the lowest bit of the first byte first
// (6.11); nil when they do not fit each other.
func bits(b []byte, n int) []int {
	size := (n + 7) / 8
	if n < 1 || n > 1968 || len(b) != 1+size || int(b[0]) != size {
		return nil
	}
	values := make([]int, n)
	for i := range values {
		values[i] = int(b[1+i/8]>>(i%8)) & 1
	}
	return values
}

// words reads a byte count and n registers (6.12).
func words(b []byte, n int) []int {
	if n < 1 || n > 123 || len(b) != 1+2*n || int(b[0]) != 2*n {
		return nil
	}
	values := make([]int, n)
	for i := range values {
		values[i] = int(binary.BigEndian.Uint16(b[1+2*i:]))
	}
	return values
}

// answerOf says in the words of a Frame how a reply answers.
func answerOf(reply []byte) string {
	switch {
	case len(reply) <= headerSize:
		return ""
	case reply[7]&exceptionBit == 0:
		return "ok"
	case len(reply) > headerSize+1:
		return fmt.Sprintf("exception %02X", reply[8])
	}
	return "exception"
}

// exception is the reply to a request with an exception code.
func exception(request []byte, code byte) []byte {
	reply := append([]byte(nil), request[:headerSize]...)
	binary.BigEndian.PutUint16(reply[4:6], 3)
	return append(reply, request[7]|exceptionBit, code)
}

// frameOf is the record of a request; base is the number of the first coil.
func frameOf(r Request, base int) checklist.Frame {
	f := checklist.Frame{Kind: checklist.FrameRequest, Unit: r.Unit, Function: r.Function, Address: r.Address, Coil: -1, Values: r.Values}
	if r.Coils && r.Address >= 0 {
		f.Coil = r.Address + base
	}
	return f
}
