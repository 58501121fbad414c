package decode

func (j *judge) causes() {}
