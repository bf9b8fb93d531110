package checklist

import (
	"context"
	"time"
)

// A Person is the technician: hands that follow instructions and eyes that
// answer. Implementations: a terminal, an answers file, virtual hands and eyes.
type Person interface {
	// Instruct shows what to do. It may return before it is done; the step sees
	// from events that it was.
	Instruct(ctx context.Context, in Instruction) error
	// Ask returns the answer to a question. ErrNoAnswer when none is to be had.
	Ask(ctx context.Context, q Question) (Answer, error)
}

// An Act is something that hands do.
type Act string

// The acts. Each names what is touched, so that virtual hands need no text.
const (
	ActPresent   Act = "present"    // lay the tag of Role at SpacingMM, lift it after Hold
	ActPlace     Act = "place"      // lay it and leave it there
	ActTake      Act = "take"       // lift it
	ActReset     Act = "reset"      // press the board's reset
	ActFlex      Act = "flex"       // bend the reader board gently with a plastic stick
	ActRelax     Act = "relax"      // stop bending
	ActCableOut  Act = "cable-out"  // pull the network cable
	ActCableIn   Act = "cable-in"   //
	ActSupplyOn  Act = "supply-on"  // the board's own supply
	ActSupplyOff Act = "supply-off" //
	ActRoomOff   Act = "room-off"   // all power of the room, its network switch too
	ActRoomOn    Act = "room-on"    //
	ActUSBOut    Act = "usb-out"    //
	ActUSBIn     Act = "usb-in"     //
	ActClear     Act = "clear"      // no tag on the reader, nothing bent, the network cable in
	ActLook      Act = "look"       // look at the lamps and keep them in mind
	ActNext      Act = "next"       // this board out of USB, and the next one in
	ActNote      Act = "note"       // nothing to touch: a thing to know or to tidy
)

// An Instruction asks hands for one act.
type Instruction struct {
	Act       Act           `json:"act"`
	Role      string        `json:"role,omitempty"` // which tag, never by UID
	SpacingMM float64       `json:"spacing_mm,omitempty"`
	Hold      time.Duration `json:"hold_ns,omitempty"`
	Reader    int           `json:"reader"`
	Text      string        `json:"text"`
	Figure    string        `json:"figure,omitempty"` // the one figure that is read from afar, such as "3/14"
	Cautions  []string      `json:"cautions,omitempty"`
}

// The roles of tags in the steps.
const (
	RoleMaster   = "master"
	RoleShow     = "show"     // the prop's own tag in its object
	RoleSpare    = "spare"    // a second card, on the list for the test only
	RoleStranger = "stranger" // on no list
)

// A QuestionKind says what an answer looks like.
type QuestionKind string

// The kinds of question.
const (
	AskConfirm QuestionKind = "confirm" // yes or no
	AskFigure  QuestionKind = "figure"  // Value in Unit
	AskLamps   QuestionKind = "lamps"   // which lamps are lit, by position
	AskText    QuestionKind = "text"
)

// A Question is put to the person. Step and Key together name it for good, so an
// answer that the log already has is not asked for again.
type Question struct {
	Step string       `json:"step"`
	Key  string       `json:"key"`
	Kind QuestionKind `json:"kind"`
	Text string       `json:"text"`
	Unit string       `json:"unit,omitempty"`
	// Form shows what an answer looks like, where that is not plain.
	Form string `json:"form,omitempty"`
	// Refuse says that "no" is the answer unless yes is said outright.
	Refuse   bool     `json:"refuse,omitempty"`
	Cautions []string `json:"cautions,omitempty"`
}

// An Answer is a person's word.
type Answer struct {
	Question Question `json:"question"`
	Text     string   `json:"text,omitempty"` // "yes", "no", lamps, free text
	Value    *float64 `json:"value,omitempty"`
	Unit     string   `json:"unit,omitempty"`
	By       string   `json:"by"` // who or what answered: a name, "answers file", "virtual eyes"
}
