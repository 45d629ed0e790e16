package web

import (
	"net/http"

	"github.com/rs/cors"
)

// CrossOrigin lets pages of other sites read the API, and nothing else: those of origins, each as
// "https://display.example"; none where there are none. No cookie goes along: where reading needs a passcode
// such a page sends it itself.
func CrossOrigin(origins []string, next http.Handler) http.Handler {
	if len(origins) == 0 {
		return next
	}
	let := cors.New(cors.Options{AllowedOrigins: origins,
		AllowedMethods: []string{http.MethodGet, http.MethodHead},
		AllowedHeaders: []string{"Accept", "Authorization", "If-None-Match"},
		ExposedHeaders: []string{"ETag", "Link"}}).Handler(next)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if IsAPI(r.URL.Path) {
			let.ServeHTTP(w, r)
			return
		}
		next.ServeHTTP(w, r)
	})
}
