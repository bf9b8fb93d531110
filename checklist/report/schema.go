package report

import (
	"bytes"
	_ "embed"
	"errors"
	"fmt"
	"sync"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

//go:embed schema.json
var schemaText []byte

// SchemaID names the schema of report.json.
const SchemaID = "urn:propwright:report:1"

// Schema returns the JSON Schema (2020-12) of report.json, as published.
func Schema() []byte { return bytes.Clone(schemaText) }

// Validate says whether report.json keeps to its schema; the error is one line
// that names the first place that does not.
func Validate(report []byte) error {
	schema, err := compiledSchema()
	if err != nil {
		return fmt.Errorf("report schema: %w", err)
	}
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(report))
	if err != nil {
		return fmt.Errorf("report: not JSON: %w", err)
	}
	err = schema.Validate(v)
	if ve, ok := errors.AsType[*jsonschema.ValidationError](err); ok {
		return fmt.Errorf("report: schema: %s", firstCause(ve))
	}
	if err != nil {
		return fmt.Errorf("report: schema: %w", err)
	}
	return nil
}

// compiledSchema is compiled once; a compiled schema is safe for concurrent use.
var compiledSchema = sync.OnceValues(compileSchema)

func compileSchema() (*jsonschema.Schema, error) {
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(schemaText))
	if err != nil {
		return nil, err
	}
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	c.AssertFormat()
	if err := c.AddResource(SchemaID, doc); err != nil {
		return nil, err
	}
	return c.Compile(SchemaID)
}
