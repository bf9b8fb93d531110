package checklist

// BuiltinChecks are the kinds of check that need only the console and the
// person. Range, network and service come from their own packages.
func BuiltinChecks() Checks {
	return Checks{
		"wiring":           BlindCheckFunc(checkWiring),
		"attach":           CheckFunc(checkAttach),
		"settings":         CheckFunc(checkSettings),
		"reader-chip":      CheckFunc(checkChip),
		"master":           CheckFunc(checkMaster),
		"programming":      CheckFunc(checkProgramming),
		"cards":            CheckFunc(checkCards),
		"readers":          CheckFunc(checkReaders),
		"lights":           CheckFunc(checkLights),
		"removal":          CheckFunc(checkRemoval),
		"clean-up":         CheckFunc(checkCleanUp),
		"own-cards":        CheckFunc(checkOwnCards),
		"stored-unchanged": CheckFunc(checkStored),
		"swapped":          BlindCheckFunc(checkSwapped),
		"sign-off":         BlindCheckFunc(checkSignOff),
	}
}
