package tiles

import (
	"strconv"
	"strings"
	"time"
	"unicode"

	"lidwright/kiln"
)

// ClayID names a clay on this site: [a-z0-9-]{1,32}.
type ClayID string

// BatchID names a batch within its clay: "A", "B".
type BatchID string

// Clay is one clay body, with what its bag says.
type Clay struct {
	ID          ClayID       // in small letters, unique on the site
	Name        string       // as typed
	MakerCode   string       // the supplier's own number for it
	MaturesCone string       // cone on the bag, "6", or empty
	Matures     kiln.Celsius // the same as heat work; NaN if the bag says nothing
	Stated      Ratio        // supplier's total shrinkage on the wet length; 0 if not stated
	StatedCone  string       // cone that the supplier stated it for; empty: MaturesCone
	Grog        string       // as the bag says it
	Note        string       // free text
}

// MayBe reports whether a clay may be what a supplier sells under a number and a name: the numbers are the
// same, or the one name is in the other, case, blanks and signs aside. It is a proposal: bodies of one name
// are many, and a person says which it is.
func (c Clay) MayBe(number, name string) bool {
	own, theirs := plainWord(c.MakerCode), plainWord(number)
	if own != "" && theirs != "" {
		return own == theirs
	}
	const least = 4 // letters by which a name is told
	own, theirs = plainWord(c.Name), plainWord(name)
	return len(own) >= least && len(theirs) >= least && (strings.Contains(own, theirs) ||
		strings.Contains(theirs, own))
}

// plainWord is a text without its case, blanks and signs.
func plainWord(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, text)
}

// BatchKind says where a batch came from.
type BatchKind string

const (
	Bought   BatchKind = "bought"
	Reclaim  BatchKind = "reclaim"
	Blend    BatchKind = "blend"
	Repugged BatchKind = "repugged"
)

// BatchRef names a batch and its clay: written tern/B.
type BatchRef struct {
	// with Batch it is a batch; both or neither
	Clay  ClayID
	Batch BatchID
}

// String is the reference as people write it, tern/B.
func (r BatchRef) String() string { return string(r.Clay) + "/" + string(r.Batch) }

// ParseBatchRef reads tern/B. Empty text gives the empty reference.
func ParseBatchRef(field, text string) (BatchRef, error) {
	if text == "" {
		return BatchRef{}, nil
	}
	clay, batch, _ := strings.Cut(text, "/")
	ref := BatchRef{ClayID(clay), BatchID(batch)}
	var f Faults
	f.BatchRef(field, ref)
	return ref, f.Err()
}

// Batch is one delivery, mixing or reclaim of a clay.
type Batch struct {
	BatchRef
	Kind    BatchKind  // Bought where nobody says more
	Stamp   string     // as printed on the bag
	Arrived string     // date, 2026-01-08, or empty
	Parents []BatchRef // of a mix, at most 20; none may come from the batch itself
	Shares  []Ratio    // of the mix, one a parent, 1 together; none: equal shares
	Open    bool       // still in use: new bars may be made of it
	Note    string     // free text
	Made    time.Time  // when the batch was entered; newest open batch = latest of these
}

// Mixed reports whether the batch was mixed here from others: it is in use only where no open bag is.
func (b Batch) Mixed() bool { return b.Kind == Blend || b.Kind == Reclaim }

// InUse reports whether a question that names no batch of the clay means b rather than other, both of one
// clay: an open one before a closed, a bag before a mix, the one entered later, the later name. A mix is
// never the clay's default while a bag is open.
func (b Batch) InUse(other Batch) bool {
	switch {
	case b.Open != other.Open:
		return b.Open
	case b.Mixed() != other.Mixed():
		return other.Mixed()
	case !b.Made.Equal(other.Made):
		return b.Made.After(other.Made)
	}
	return b.Batch > other.Batch
}

// BatchKinds are all kinds of batch.
func BatchKinds() []BatchKind { return []BatchKind{Bought, Reclaim, Blend, Repugged} }

// Validate puts the texts of c into their usual form and tells every fault, as
// InvalidFields; nil if there is none.
func (c *Clay) Validate() error {
	var f Faults
	f.name("clay", string(c.ID))
	f.Needed("name", &c.Name)
	f.Text("maker_code", &c.MakerCode)
	f.cone("matures_cone", c.MaturesCone)
	f.cone("stated_cone", c.StatedCone)
	f.Within("stated_total_ratio", float64(c.Stated))
	f.Text("grog", &c.Grog)
	f.Text("note", &c.Note)
	return f.Err()
}

// Validate does the same for a batch. That its parents lead back to itself only the whole
// family can tell: see Family.
func (b *Batch) Validate() error {
	var f Faults
	f.name("clay", string(b.Clay))
	f.batchName("batch", string(b.Batch))
	OneOf(&f, "kind", b.Kind, BatchKinds()...)
	f.Text("stamp", &b.Stamp)
	f.Date("arrived_on", b.Arrived)
	f.Text("note", &b.Note)
	if len(b.Parents) > mostParents {
		f.Add(OutOfRange, "parents", "has more than 20")
	}
	if n := len(b.Shares); n > 0 && n != len(b.Parents) {
		f.Add(Missing, "parents", "tell the parts of every parent, or of none")
	}
	for i, p := range b.Parents {
		f.BatchRef("parents", p)
		if p == b.BatchRef {
			f.Add(OutOfRange, "parents", "{1} cannot be its own parent", b.String())
		}
		for _, q := range b.Parents[:i] {
			if p == q {
				f.Add(GivenTwice, "parents", "{1} stands twice", p.String())
			}
		}
	}
	return f.Err()
}

// mostParents is how many batches one mix may come from (own).
const mostParents = 20

// ParseParents reads parents of a mix, each as tern/A or, with its parts of the mix, as tern/A=2: any unit of
// parts will do, as long as all parents are told in it.
func ParseParents(field string, texts []string) (parents []BatchRef, shares []Ratio, err error) {
	var f Faults
	sum := 0.0
	for _, text := range texts {
		name, parts, told := strings.Cut(text, "=")
		clay, batch, _ := strings.Cut(name, "/")
		ref := BatchRef{ClayID(clay), BatchID(batch)}
		f.BatchRef(field, ref)
		parents = append(parents, ref)
		if !told {
			continue
		}
		// 2, 0,5 and 30 % are all parts; the sum of all makes them shares
		n, err := strconv.ParseFloat(strings.TrimSuffix(strings.Replace(parts, ",", ".", 1), "%"), 64)
		if err != nil || !(n > 0 && n <= 1e6) {
			f.Add(OutOfRange, field, "{1}={2}: its parts of the mix must be a number over 0, as tern/A=2",
				name, parts)
			continue
		}
		shares, sum = append(shares, Ratio(n)), sum+n
	}
	if len(shares) > 0 && len(shares) < len(parents) && f.Err() == nil {
		f.Add(Missing, field, "tell the parts of every parent, or of none")
	}
	for i := range shares {
		shares[i] /= Ratio(sum)
	}
	return parents, shares, f.Err()
}

// ParentTexts writes the parents as ParseParents reads them.
func (b Batch) ParentTexts() []string {
	texts := make([]string, len(b.Parents))
	for i, p := range b.Parents {
		if texts[i] = p.String(); len(b.Shares) > 0 {
			texts[i] += "=" + strconv.FormatFloat(float64(b.Shares[i]), 'g', 6, 64)
		}
	}
	return texts
}

// Share is how much of the mix a parent is.
func (b Batch) Share(i int) Ratio {
	if len(b.Shares) == 0 {
		return 1 / Ratio(len(b.Parents))
	}
	return b.Shares[i]
}

// Family checks that b may have the parents it names, given the parents of every batch
// known so far: they must be known, and none may come from b itself.
func (b Batch) Family(parents map[BatchRef][]BatchRef) error {
	var f Faults
	seen := map[BatchRef]bool{}
	// a walk up through the parents, each batch once
	var from func(r BatchRef) bool // does r come from b?
	from = func(r BatchRef) bool {
		if r == b.BatchRef {
			return true
		}
		if seen[r] {
			return false
		}
		seen[r] = true
		for _, p := range parents[r] {
			if from(p) {
				return true
			}
		}
		return false
	}
	for _, p := range b.Parents {
		if _, known := parents[p]; !known {
			f.Add("unknown-batch", "parents", "no batch {1}", p.String())
		} else if from(p) {
			f.Add(OutOfRange, "parents", "{1} was itself made from {2}", p.String(), b.String())
		}
	}
	return f.Err()
}
