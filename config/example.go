package config

import _ "embed"

// Example is example.toml: every setting with its default and what it means.
//
//go:embed example.toml
var Example string
