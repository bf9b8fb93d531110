package serialmon

// PortInfo is what can be known of a port without opening it. Text fields are
// empty where the system does not tell.
type PortInfo struct {
	Name    string `json:"name"`    // as it is opened now
	Stable  string `json:"stable"`  // a name that stays when the board is plugged in again
	Adapter string `json:"adapter"` // the chip between USB and the serial line
	Board   string `json:"board"`   // what kind of board that suggests
	VID     string `json:"vid"`     // USB vendor number, upper-case hex
	PID     string `json:"pid"`     // USB product number, upper-case hex
	Serial  string `json:"serial"`  // the adapter's serial number
	Product string `json:"product"` // the adapter's own name for itself
	Place   string `json:"place"`   // USB socket and interface, such as 1-1.4:1.0; where the system tells
	Allowed bool   `json:"allowed"` // this user may read and write it
	Group   string `json:"group"`   // group that the port belongs to
}

// ListPorts returns the serial ports of this computer in the order of their
// names. It opens none of them: opening can restart a board and change the
// settings of a port that another program uses.
func ListPorts() ([]PortInfo, error) { return listPorts() }

// StableName returns a name for the same port that still holds when the board
// comes back under another number, or the name itself where there is none.
func StableName(name string) string { return stableName(name) }

// identity is what stays the same of the thing behind a port when it is plugged
// in again: its USB numbers and serial number; empty where there is none.
func (p PortInfo) identity() string {
	if p.VID == "" {
		return ""
	}
	return p.VID + ":" + p.PID + ":" + p.Serial
}
