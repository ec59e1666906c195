package trendpage_test

import (
	"io/fs"

	"fluewright/daemon/internal/web/trendpage"
)

func folders() []fs.FS { return []fs.FS{trendpage.Assets} }
