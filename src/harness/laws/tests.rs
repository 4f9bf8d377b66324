//! Laws: the file, its place, its verdicts.
