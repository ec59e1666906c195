package chimney
