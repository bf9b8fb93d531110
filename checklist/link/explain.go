package link

import (
	"fmt"
	"strings"

	"propwright/checklist"
)

// functions are the public functions of the Application Protocol V1.1b3, 5.1.
var functions = map[int]string{
	0x01: "read coils", 0x02: "read discrete inputs", 0x03: "read holding registers", 0x04: "read input registers",
	0x05: "write single coil", 0x06: "write single register", 0x07: "read exception status", 0x08: "diagnostics",
	0x0B: "get comm event counter", 0x0C: "get comm event log", 0x0F: "write multiple coils", 0x10: "write multiple registers",
	0x11: "report server ID", 0x14: "read file record", 0x15: "write file record", 0x16: "mask write register",
	0x17: "read/write multiple registers", 0x18: "read FIFO queue", 0x2B: "encapsulated interface transport",
}

// exceptions are the exception codes of the Application Protocol V1.1b3, 7.
var exceptions = map[string]string{
	"exception 01": "illegal function", "exception 02": "illegal data address", "exception 03": "illegal data value",
	"exception 04": "server device failure", "exception 05": "acknowledge", "exception 06": "server device busy",
	"exception 08": "memory parity error", "exception 0A": "gateway path unavailable", "exception 0B": "gateway target device failed to respond",
}

// FunctionName is the name of a function code, "no public function" for one that
// the protocol does not have.
func FunctionName(code int) string {
	if name, ok := functions[code]; ok {
		return name
	}
	return "no public function"
}

// Explain says what is odd about a frame, in one line; "" where nothing is.
func Explain(f checklist.Frame) string {
	if f.Kind != checklist.FrameRequest {
		return f.Why
	}
	var odd []string
	add := func(format string, args ...any) { odd = append(odd, fmt.Sprintf(format, args...)) }
	switch f.Function {
	case writeCoil, writeCoils, readCoils:
		if f.Values == nil && f.Function != readCoils {
			add("its fields contradict each other: on is FF00, off is 0000, and a byte count fits its coils")
		}
	case writeRegister, writeRegisters:
		add("a register is written where a coil would be meant: function 05 writes coil %d", f.Address)
	case readInputs, readHolding, readInputRegs:
		add("reads no coils")
	default:
		if _, public := functions[f.Function]; !public {
			add("the protocol has no function %02X", f.Function)
		} else {
			add("%s is for no coil", FunctionName(f.Function))
		}
	}
	switch name := exceptions[f.Answer]; {
	case f.Answer == "":
		add("no answer")
	case name != "":
		add("refused: %s", name)
	case f.Answer != "ok":
		add("refused with a code that the protocol does not have")
	}
	return strings.Join(odd, "; ")
}
