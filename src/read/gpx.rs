//! gpx
