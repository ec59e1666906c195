package web

import (
	"net"
	"syscall"
)

// ipv6FreeBind is IPV6_FREEBIND of linux/in6.h, which package syscall lacks.
const ipv6FreeBind = 78

// open opens an address also while the computer does not have it yet: a board that starts
// before its network must watch all the same.
var open = net.ListenConfig{Control: func(_, _ string, c syscall.RawConn) error {
	return c.Control(func(fd uintptr) {
		// Of the two one fits the socket; without it such an address is refused, as ever.
		_ = syscall.SetsockoptInt(int(fd), syscall.SOL_IP, syscall.IP_FREEBIND, 1)
		_ = syscall.SetsockoptInt(int(fd), syscall.SOL_IPV6, ipv6FreeBind, 1)
	})
}}
