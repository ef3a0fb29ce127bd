// Package words holds every word that people read: pages, mail, reports, problems, the titles of rules. Code holds keys.
//
// A folder is a language (its name is the BCP 47 tag), its files are flat YAML maps of key to text, merged at load. A
// text has places, {name}; a text that changes with a number is a map of plural forms, chosen by the argument "count":
//
//	problem.body_invalid:
//	  one: One member of the body cannot be right.
//	  other: "{count} members of the body cannot be right."
//
// Numbers, dates and physical values are written for the reader: in the language's own way and in the units that the
// reader chose. Inside the program everything is SI.
//
// A key that is not there is shown as ⟦key⟧, so that it is seen; a test names every key that code asks for and no file
// has, and every key that no code asks for.
//
// To add a text: a line in a file of every language. To add a language: a folder with a file, in which any keys of the
// English folder may be given; what is missing is shown in English. To add a unit: a line in scaleOf (quantity.go).
package words
