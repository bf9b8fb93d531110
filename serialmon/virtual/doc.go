// Package virtual is a tag reader board without hardware: its firmware, its
// reader with tags at a distance, its network, its supplies and its lamps, as one
// state machine on a clock that is passed in. On a simulated clock the same seed
// and the same hands give the same bytes.
//
// A board is felt in four ways only: its console at the end of a Line (a real
// pseudo-terminal, or memory), its Modbus TCP requests at the controller, the
// light of its lamps, and hands that place tags and pull plugs through Board.Do
// or, from another process, through the control channel of ServeControl. Nobody
// can ask what is wrong with it: each fault of Faults shows through these alone.
//
// The texts are this package's own; it must not know how they will be read.
package virtual
