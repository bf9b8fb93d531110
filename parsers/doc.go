// Package parsers turns console bytes into typed events.
package parsers
