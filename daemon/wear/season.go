//go:build linux

package main

import (
	"context"
	"io"
)

func season(ctx context.Context, days int, out, talk io.Writer) error { return nil }
