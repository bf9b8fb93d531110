// Package field estimates, from the geometry of a reader's coil, how far it can read:
// the magnetic field on the coil's axis, where it falls below what a card needs, what
// a metal plate behind the coil takes away, and what more receiver gain can add.
//
// It is a model of the near field, no measurement: a card off the axis, a detuned
// coil or a card that couples badly all give less. Lengths are in metres, currents and
// fields in root mean square.
package field
