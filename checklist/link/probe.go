package link

// A Probe is one look at the network from this computer, and what it came to.
type Probe struct {
	What     string   `json:"what"` // one of the Probe… names of what is looked at
	Target   string   `json:"target"`
	Result   string   `json:"result"` // one of the Probe… results
	Evidence []string `json:"evidence,omitempty"`
	Millis   float64  `json:"ms,omitempty"` // how long it took
}

// What probes look at.
const (
	ProbeController = "controller"
	ProbeBoard      = "board"
	ProbeAddress    = "address in use"
	ProbeMAC        = "MAC in use"
	ProbeGateway    = "gateway"
	ProbeSocketsOf  = "sockets of the board"
)

// What they come to.
const (
	ProbeOK        = "ok"
	ProbeSkipped   = "not looked at" // the evidence says why
	ProbeFree      = "free"
	ProbeTwice     = "in use twice"
	ProbeNoGateway = "gateway not reachable"
	ProbeNoHost    = "no answer from the host"
	ProbeNoRoute   = "no way there"
	ProbeRefused   = "port shut"
	ProbeClosed    = "accepted, then closed"
	ProbeSilent    = "accepted, no answer"
	ProbeSlow      = "slow"
	ProbeRefuses   = "refuses to have coils read"
	ProbeSockets   = "sockets used up"
)
