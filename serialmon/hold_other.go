//go:build !linux

package serialmon

// hold is empty here: the library's exclusive mode, or the system's, has to do.
type hold struct{}

func takeHold(string, bool) (*hold, error) { return &hold{}, nil }
func (*hold) path(name string) string      { return name }
func (*hold) opened()                      {}
func (*hold) release() error               { return nil }
