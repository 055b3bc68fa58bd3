//! Lines: windows, frames, transforms, whitening.
