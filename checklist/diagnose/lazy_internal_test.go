package diagnose

import "testing"

// What is read lazily can be read, all of it.
func TestWhatIsReadLazilyCanBeRead(t *testing.T) {
	if len(toCheck) < 50 {
		t.Fatalf("%d patterns and lists of phrases are known; there are many more", len(toCheck))
	}
	for _, read := range toCheck {
		read() // panics where its text is broken
	}
}
