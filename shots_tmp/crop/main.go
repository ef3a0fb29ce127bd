package main

import (
	"image"
	"image/draw"
	"image/png"
	"os"
	"strconv"
)

func main() {
	f, _ := os.Open(os.Args[1])
	im, err := png.Decode(f)
	if err != nil {
		panic(err)
	}
	from, _ := strconv.Atoi(os.Args[3])
	to, _ := strconv.Atoi(os.Args[4])
	r := image.Rect(0, 0, im.Bounds().Dx(), to-from)
	out := image.NewRGBA(r)
	draw.Draw(out, r, im, image.Pt(0, from), draw.Src)
	o, _ := os.Create(os.Args[2])
	png.Encode(o, out)
	o.Close()
}
