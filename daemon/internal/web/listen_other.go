//go:build !linux

package web

import "net"

var open net.ListenConfig
