package source

import "os"

// scaled is how much a test does: a little, or with LIDWRIGHT_SOAK=1 as much as the figure asks for.
func scaled(little, full int) int {
	if os.Getenv("LIDWRIGHT_SOAK") == "1" {
		return full
	}
	return little
}
