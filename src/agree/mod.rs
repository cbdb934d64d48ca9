//! Agreement of two sets of scores: bias and limits, intraclass correlation, concordance. Pure statistics.
