package source

// Words are the remarks in English.
func (h Heard) Words() []string {
	all := h.PortRemarks()
	for _, k := range h.Kilns {
		all = append(all, k.Remarks()...)
	}
	var out []string
	for _, r := range all {
		out = append(out, r.Says.String())
	}
	return out
}
