package pipeline

import (
	"context"

	"stillglow/report"
)

// WriteReport renders a report and puts it into a folder. The notes are those of
// WriteFolder. An ended ctx leaves the folder as it was.
func WriteReport(ctx context.Context, r *report.Report, folder string, opt FolderOptions) (notes []string, err error) {
	files, err := report.Render(ctx, r, report.RenderOptions{})
	if err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return WriteFolder(folder, files, opt)
}
