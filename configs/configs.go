// Package configs holds the configurations that come with the program, so that it has
// them without files.
package configs

import _ "embed"

// Reference documents every key; what it says equals the built-in defaults.
//
//go:embed fluewright.toml
var Reference []byte

// Demo is the configuration of the demonstration, on buses within the program.
//
//go:embed demo.toml
var Demo []byte
