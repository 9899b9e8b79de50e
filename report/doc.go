// Package report renders a finished evaluation: terminal table, HTML page,
// Markdown, CSV, JSON, labels and plots. It reads no file and decides nothing.
//
//  1. answer.go words the finding, format.go figures, capturejson.go and
//     resultsjson.go the JSON whose shape schema.go describes.
//  2. table.go, comparetext.go and capturetext.go write for the terminal.
//  3. plotlist.go names the plots, plot*.go draw them on package canvas.
//  4. page.go and page*.go word the page, whose pictures pagepictures.go draws;
//     markdown.go, csv.go and labels.go make the rest.
//  5. render.go makes all files of a report, side by side, in a fixed order.
package report
