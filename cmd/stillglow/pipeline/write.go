package pipeline

import (
	"context"

	"stillglow/report"
)

// WriteReport renders a report and puts it into a folder. The notes are those of
// WriteFolder. An ended ctx leaves the folder as it was. Pictures in
// opt.Cache are not drawn again.
func WriteReport(ctx context.Context, r *report.Report, folder string, opt FolderOptions) (notes []string, err error) {
	render := report.RenderOptions{}
	if c := opt.Cache; c != nil && c.program() != "" {
		render.Drawn = c
	}
	files, err := report.Render(ctx, r, render)
	if err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return WriteFolder(folder, files, opt)
}
