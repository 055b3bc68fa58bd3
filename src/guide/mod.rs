//! Advice: which screw, which way, how far, and what never to do.
