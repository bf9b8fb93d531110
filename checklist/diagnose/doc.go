// Package diagnose answers why a prop does not register tags: it ranks causes, says
// what speaks for and against each, and names the test that helps most for what it
// costs.
//
// What a console, the network and a person say becomes evidence: findings with the
// value that was seen. What is known of causes, findings and tests is data, the TOML
// files in knowledge, which a site may add to. Between the two stands plain
// probability: every single cause and every pair of causes is a state, findings
// combine over causes as a leaky noisy-OR does (noisy-MAX where a finding has more
// than two values), and the posterior is exact. "Nothing wrong" and "something else"
// are answers like any other.
//
// The package opens nothing, asks nobody and reads no clock: bytes, events, frames and
// answers come in, a Result goes out. It stands behind checklist and parsers in the flow
// and before the command that prints.
package diagnose
