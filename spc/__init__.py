"""Statistics for shop data: arrays and frames in, frozen results out."""
