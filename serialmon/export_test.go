package serialmon

// Pick is the choice of LikelySpeed for a board that goes on printing, judged by n
// bytes at a time; hear is what arrives at a speed, as much as anybody listens to.
func Pick(n int, hear func(baud int) []byte) Guess {
	g, _ := choose(LikelySpeeds(), func(baud int) (Trial, error) {
		heard, l := hear(baud), listening{newest: n}
		upTo := 0
		for upTo < len(heard) && !l.enough(heard[:upTo]) {
			upTo = min(upTo+32, len(heard))
		}
		return trialOf(baud, heard[:upTo], n), nil
	})
	return g
}
