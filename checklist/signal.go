package checklist

// A Sound is what the technician hears with both hands full.
type Sound string

// The sounds.
const (
	SoundGood Sound = "good" // it was seen: go on
	SoundBad  Sound = "bad"  // it was not seen, or it came out wrong
	SoundNeed Sound = "need" // something is wanted of you
)

// A Signal is an outcome small enough to be taken in from across a room: a sound,
// one word and one figure.
type Signal struct {
	Sound  Sound
	Word   string // one word, upper case
	Figure string // such as "3/14"; "" where there is none
	// Decided says that a step came to its verdict, which has a line of its own.
	Decided bool
}

// A Listener is a Person who can be told how things come out. It is optional: a
// Person that is none is told nothing.
type Listener interface {
	Hear(Signal)
}

// Tell passes a signal on to a person who can hear it.
func Tell(p Person, sig Signal) {
	if l, hears := p.(Listener); hears {
		l.Hear(sig)
	}
}

func (e *Engine) tell(sig Signal) { Tell(e.Person, sig) }

// signalOf is how a decided step sounds.
func signalOf(v Verdict) Signal {
	sig := Signal{Sound: SoundBad, Word: "OPEN", Decided: true}
	switch v {
	case Passed:
		sig.Sound, sig.Word = SoundGood, "PASSED"
	case Failed:
		sig.Word = "FAILED"
	case Skipped:
		sig.Word = "SKIPPED"
	}
	return sig
}
