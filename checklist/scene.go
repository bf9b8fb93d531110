package checklist

// A Scene is what a running check sees of the run.
type Scene struct {
	Step Step
	Item Item
}
