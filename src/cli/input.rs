//! Reads what the user named: a file, or standard input for `-`.
