package formats

import "errors"

func looksLikeVCD(head []byte) bool { return false }

func openVCD(in *input, o Options) (source, error) {
	return nil, &ParseError{File: in.name, Err: errors.New("dumps are not read yet")}
}
