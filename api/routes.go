package api

// The routes by their noun: each decodes what was asked, calls a use case and writes the answer.
type (
	firingRoutes  struct{ *Server } // firings, as the API and the pages tell and take them
	kilnRoutes    struct{ *Server } // kilns: what they do now, probes, shelves, the door sheet
	barRoutes     struct{ *Server } // bars, their readings, tables in and out
	clayRoutes    struct{ *Server } // clays, batches, rates, the class
	loadRoutes    struct{ *Server } // loads and packing lists
	lidRoutes     struct{ *Server } // lids, boards and sizes
	resultRoutes  struct{ *Server } // pot cards, and how lids sat
	studioRoutes  struct{ *Server } // the record itself: changes, notices, copies, settings
	homeRoutes    struct{ *Server } // the first page, a kiln's own, the cautions
	sessionRoutes struct{ *Server } // passcodes, language and units of a browser
	gleaner       struct{ *Server } // what the metrics read off
)

func (s *Server) homeRoutes() homeRoutes       { return homeRoutes{s} }
func (s *Server) sessionRoutes() sessionRoutes { return sessionRoutes{s} }
func (s *Server) gleaner() gleaner             { return gleaner{s} }
func (s *Server) firingRoutes() firingRoutes   { return firingRoutes{s} }
func (s *Server) kilnRoutes() kilnRoutes       { return kilnRoutes{s} }
func (s *Server) barRoutes() barRoutes         { return barRoutes{s} }
func (s *Server) clayRoutes() clayRoutes       { return clayRoutes{s} }
func (s *Server) loadRoutes() loadRoutes       { return loadRoutes{s} }
func (s *Server) lidRoutes() lidRoutes         { return lidRoutes{s} }
func (s *Server) resultRoutes() resultRoutes   { return resultRoutes{s} }
func (s *Server) studioRoutes() studioRoutes   { return studioRoutes{s} }
