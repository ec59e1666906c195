package access

import "net/http"

// Route is an address and what it needs.
type Route struct {
	Pattern string // as http.ServeMux takes it
	Needs   Right
	Handler http.Handler
}
