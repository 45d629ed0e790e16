package kiln

// FiringSaid is what a person says of a firing, over what was heard or guessed. What is empty is
// left as it was.
type FiringAnnotation struct {
	Kind       Kind
	Atmosphere Atmosphere
	Status     Status // Ended calls an incomplete firing complete, Incomplete the other way round
	Note       string
	By         string // maker's mark
}
