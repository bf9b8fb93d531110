// Package checklisttest drives checks in tests: a person whose hands make the
// console and the controller say something some time later, a memory that keeps
// entries, a clock that a synctest bubble fakes, and a rig that runs one step of a
// procedure through the real engine.
//
// The doubles are strict: a question without an answer is an error, and an answer
// that nobody asked for fails the test at its end.
package checklisttest
