//go:build !unix

package serialmon

// groupOf is empty: permission on ports does not go by groups here.
func groupOf(string) string { return "" }
