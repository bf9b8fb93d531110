package serialmon

// An adapter is what a USB vendor and product number tell: the chip, and whether
// it is a bridge beside the microcontroller or the microcontroller itself.
type adapter struct {
	chip   string
	native bool
}

// Kinds of board, as far as the port lets guess.
const (
	boardBridged = "a microcontroller behind a USB-to-serial chip; opening the port mostly restarts it"
	boardNative  = "a microcontroller with its own USB; the port may vanish while it restarts"
	boardBuiltIn = "a serial port of the computer itself"
	boardUnknown = "not known"
)

// adapterOf names the chip by its numbers, upper-case hex. The table is from
// memory of what the chips report as delivered; anyone can give a chip other
// numbers, so this is a guess to show and nothing is decided by it.
func adapterOf(vid, pid string) (adapter, bool) {
	switch vid + ":" + pid {
	case "1A86:7523", "1A86:5523", "1A86:7522":
		return adapter{chip: "CH340"}, true
	case "1A86:55D3", "1A86:55D4", "1A86:55D2":
		return adapter{chip: "CH343 family"}, true
	case "10C4:EA60":
		return adapter{chip: "CP210x"}, true
	case "10C4:EA70":
		return adapter{chip: "CP2105"}, true
	case "10C4:EA71":
		return adapter{chip: "CP2108"}, true
	case "0403:6001":
		return adapter{chip: "FT232R"}, true
	case "0403:6010":
		return adapter{chip: "FT2232"}, true
	case "0403:6011":
		return adapter{chip: "FT4232"}, true
	case "0403:6014":
		return adapter{chip: "FT232H"}, true
	case "0403:6015":
		return adapter{chip: "FT230X family"}, true
	case "067B:2303", "067B:23A3", "067B:23C3", "067B:23D3":
		return adapter{chip: "PL2303"}, true
	case "04D8:00DD":
		return adapter{chip: "MCP2221"}, true
	case "04D8:000A":
		return adapter{chip: "native USB CDC", native: true}, true
	case "2E8A:0003", "2E8A:000A", "2E8A:0005":
		return adapter{chip: "RP2040 native USB CDC", native: true}, true
	case "303A:1001", "303A:0002":
		return adapter{chip: "ESP32 native USB CDC", native: true}, true
	case "0483:5740":
		return adapter{chip: "STM32 native USB CDC", native: true}, true
	case "16C0:0483", "16C0:05E1":
		return adapter{chip: "native USB CDC", native: true}, true
	}
	return adapter{}, false
}

// describe fills in what the numbers and the driver tell. driver is the system's
// name for it, or empty.
func (p *PortInfo) describe(driver string) {
	a, known := adapterOf(p.VID, p.PID)
	switch {
	case known:
	case p.VID == "":
		p.Adapter, p.Board = "none", boardBuiltIn
		return
	case driver == "cdc_acm":
		// The class driver serves a few bridge chips too.
		p.Adapter, p.Board = "USB CDC", boardNative
		return
	default:
		p.Adapter, p.Board = "USB, not known", boardUnknown
		return
	}
	p.Adapter, p.Board = a.chip, boardBridged
	if a.native {
		p.Board = boardNative
	}
}
