package formats

import "errors"

func openTable(in *input, o Options) (source, error) {
	return nil, &ParseError{File: in.name, Err: errors.New("tables are not read yet")}
}
