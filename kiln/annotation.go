package kiln

// FiringAnnotation is what a person says of a firing, over what was heard or guessed. What is empty is
// left as it was.
type FiringAnnotation struct {
	Kind       Kind // over the one that was guessed or came with the load
	Atmosphere Atmosphere
	Status     Status // Ended calls an incomplete firing complete, Incomplete the other way round
	Note       string // free text; empty leaves the note that is there
	By         string // maker's mark
}
