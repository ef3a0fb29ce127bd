package main

import (
	"context"
	"fmt"
	"os"
	"strings"
	"time"

	"github.com/chromedp/chromedp"
)

func main() {
	root, email, password := os.Args[1], os.Args[2], os.Args[3]
	a, stop := chromedp.NewExecAllocator(context.Background(), append(chromedp.DefaultExecAllocatorOptions[:], chromedp.NoSandbox)...)
	defer stop()
	ctx, end := chromedp.NewContext(a)
	defer end()
	ctx, c := context.WithTimeout(ctx, 5*time.Minute)
	defer c()
	do := func(s ...chromedp.Action[chromedp.Void]) {
		if err := chromedp.Do(ctx, s...); err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
	}
	do(chromedp.Navigate(root+"/sign-in"), chromedp.EmulateViewport(1280, 900))
	do(chromedp.SetValue(`[name="/email"]`, email), chromedp.SetValue(`[name="/password"]`, password))
	chromedp.RunResponse(ctx, func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		return chromedp.Submit("form.sheet, form")(ctx, t)
	})
	for _, p := range os.Args[4:] {
		path, name, _ := strings.Cut(p, "=>")
		do(chromedp.Navigate(root + path))
		b, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
		if err != nil {
			fmt.Println(err)
		}
		os.WriteFile("/var/tmp/demo-lead/"+name+".png", b, 0o644)
		u, _ := chromedp.Run(ctx, chromedp.Location())
		fmt.Println(u, len(b))
	}
}
