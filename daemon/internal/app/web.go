package app

import (
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"os"
	"strings"

	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/verdict"
	"fluewright/daemon/internal/web"
)

// readings are the words of the configuration.
var readings = map[string]access.Reading{
	"nobody": access.NobodyReads, "this-computer": access.ThisComputerReads, "network": access.NetworkReads,
}

func (h *house) buildWeb(site verdict.Site, exposition http.Handler) error {
	names := h.cfg.Web.Names
	if name, err := os.Hostname(); err == nil {
		names = append(names[:len(names):len(names)], name)
	}
	accounts := access.Load(h.options.State)
	if err := accounts.Err(); err != nil {
		h.log.Error("nobody can sign in", "error", err)
	}
	s, err := web.Listen(h.cfg.Web.Listen, web.Options{
		Site:            h.cfg.Site.Name,
		Version:         h.options.Version,
		Notice:          h.options.Notice,
		Feed:            h.feed,
		Verdict:         site,
		Units:           h.cfg.Site.Units,
		Limits:          h.cfg.Analysis.Limits,
		DraftLow:        h.cfg.Analysis.DraftLow,
		DraftHigh:       h.cfg.Analysis.DraftHigh,
		StaleAfter:      h.cfg.Sampling.StaleAfter,
		Metrics:         exposition,
		Bundles:         h.bundles,
		History:         h.past,
		Config:          h.cfg,
		Gate:            &access.Gate{Accounts: accounts, Reading: readings[h.cfg.Web.ReadWithoutSignIn]},
		CertificateFile: h.cfg.Web.CertificateFile,
		KeyFile:         h.cfg.Web.KeyFile,
		Names:           names,
		Log:             h.log,
	})
	if err != nil {
		return err
	}
	h.addrs.Web = s.URL()
	if code := accounts.OfferSetup(); code != "" {
		h.addrs.SetUp, h.addrs.Outside = setUpAddress(s.URL(), s.Addr(), localAddresses(), code)
	}
	h.tasks = append(h.tasks, task{"web", s.Run}, task{"access", accounts.Run})
	return nil
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
