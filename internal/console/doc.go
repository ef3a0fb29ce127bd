// Package console is the web pages: HTML that the server makes, readable and usable without script.
//
// A page asks for one action of the table of rights, calls use-cases of fleet, report and identity, and shows what they
// give; what it cannot do there it does not do. Forms carry ids that were made when they were shown, and are sent as the
// API's PUT would be: a form that is sent twice does once. Fields are named by the JSON pointers of the use-cases'
// faults, so that what is wrong stands beside the field, and what was typed stays. Nothing is loaded from elsewhere,
// there is no script and no inline style: the content security policy is the strictest that shows a page.
//
// Instants are shown in the zone of their site, physical values in the reader's units, words out of internal/words.
//
// To add a page: a file in pages with the blocks "title" and "main", a handler in the file of its resource that ends
// with page{…}, a line in routes naming the action, texts in internal/words/en/console_*.yaml, a row in the matrix of
// pages (matrix_test.go fails without) and an address in the browser tests (browser_test.go), which look for violations
// of accessibility and of the policy. Then look at it, wide and narrow, and write into deploy/looks.md what was wrong.
package console
