package fleet

type consequenceRows interface{}
