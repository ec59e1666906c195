package app

import (
	"net"
	"net/netip"
	"net/url"
	"strings"

	"fluewright/daemon/internal/access"
)

// readings are the words of the configuration.
var readings = map[string]access.Reading{
	"nobody": access.NobodyReads, "this-computer": access.ThisComputerReads, "network": access.NetworkReads,
}

// setUpAddress is where the first owner is made: at an address of the house's network where
// the pages can be reached by it, since telephones do not find names.
func setUpAddress(page, listening string, own []netip.Addr, code string) (address string, outside bool) {
	u, err := url.Parse(page)
	at, err2 := netip.ParseAddrPort(listening)
	if err != nil || err2 != nil {
		return page + strings.TrimPrefix(access.SetUpPath, "/"), false
	}
	switch ip := at.Addr(); {
	case ip.IsUnspecified() && len(own) > 0:
		u.Host, outside = netip.AddrPortFrom(own[0], at.Port()).String(), true
	case !ip.IsUnspecified() && !ip.IsLoopback():
		outside = true
	}
	u.Path, u.Fragment = access.SetUpPath, "code="+code
	return u.String(), outside
}

// localAddresses are those of this computer in its networks, the likeliest first: a private
// one, of the old kind.
func localAddresses() []netip.Addr {
	all, err := net.InterfaceAddrs()
	if err != nil {
		return nil
	}
	var private, others []netip.Addr
	for _, a := range all {
		p, err := netip.ParsePrefix(a.String())
		switch ip := p.Addr(); {
		case err != nil || !ip.IsGlobalUnicast():
		case ip.Is4() && ip.IsPrivate():
			private = append(private, ip)
		default:
			others = append(others, ip)
		}
	}
	return append(private, others...)
}
