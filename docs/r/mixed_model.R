# From the tables of `jogaudit batch` to the input of a mixed model: one row a session that could be judged.
#
#     Rscript mixed_model.R SESSIONS.csv|SESSIONS.parquet INPUT.csv
#
# INPUT.csv has participant, stage, stage_number (order of first day), day (since the participant's first session), excess_s
# (running beyond the prescribed, s), effort, pain_during, pain_next_morning, has_cadence. With the package nlme (part of
# R's recommended ones) a model is fitted and its fixed effects are printed; nothing of it is a recommendation.
# Parquet is read by the package arrow where it is installed (Debian 12 has none: take CSV there).

sessions_of <- function(path) {
  if (grepl("\\.parquet$", path)) {
    if (!requireNamespace("arrow", quietly = TRUE)) stop("no package arrow here: write the table as .csv")
    return(as.data.frame(arrow::read_parquet(path)))
  }
  # Names of stages such as 2 or 10 stay text, times stay text, flags and numbers are what they are.
  kept <- c(path = "character", participant = "character", plan = "character", stage = "character",
            start = "character", session_date = "character", outcome = "character", left_out = "character",
            error_code = "character", blake3 = "character", sha256 = "character")
  head <- names(read.csv(path, nrows = 1, check.names = FALSE))
  table <- read.csv(path, na.strings = "", check.names = FALSE, fileEncoding = "UTF-8",
                    colClasses = kept[names(kept) %in% head])
  # An apostrophe in front keeps spreadsheets from taking a text for a formula.
  for (column in names(table)[vapply(table, is.character, TRUE)]) {
    table[[column]] <- sub("^'", "", table[[column]])
  }
  table
}

flags <- function(column) as.logical(toupper(as.character(column)))

model_input <- function(table) {
  for (needed in c("participant", "stage", "start", "outcome", "run_prescribed_s", "run_achieved_s")) {
    if (!needed %in% names(table)) stop(paste("the table has no column", needed))
  }
  judged <- is.na(table$error_code) & is.na(table$left_out) & !is.na(table$outcome) & table$outcome != "undecided"
  message(sum(judged), " of ", nrow(table), " rows are judged sessions; undecided: ",
          sum(table$outcome == "undecided", na.rm = TRUE), ", left out: ", sum(!is.na(table$left_out)),
          ", not readable: ", sum(!is.na(table$error_code)))
  t <- table[judged & !is.na(table$participant), ]
  begun <- as.POSIXct(sub("Z$", "", as.character(t$start)), format = "%Y-%m-%dT%H:%M:%OS", tz = "UTC")
  if (inherits(t$start, "POSIXct")) begun <- t$start
  # The day is that of the case where it is known, else that of UTC.
  day <- as.Date(begun, tz = "UTC")
  known <- !is.na(t$session_date)
  day[known] <- as.Date(t$session_date[known])
  first <- tapply(day, t$participant, min)
  order_of_stage <- function(rows) match(rows$stage, unique(rows$stage[order(rows$day)]))
  input <- data.frame(
    participant = factor(t$participant), stage = factor(t$stage),
    day = as.integer(day) - as.integer(first[t$participant]),
    excess_s = round(t$run_achieved_s - t$run_prescribed_s, 1),
    overdone = t$outcome == "overdone",
    effort = t$effort, pain_during = t$pain_during, pain_next_morning = t$pain_next_morning,
    has_cadence = flags(t$has_cadence)
  )
  input$stage_number <- NA_integer_
  for (person in levels(input$participant)) {
    own <- which(input$participant == person)
    input$stage_number[own] <- order_of_stage(input[own, ])
  }
  input[order(input$participant, input$day), ]
}

main <- function(arguments) {
  if (length(arguments) != 2) stop("usage: Rscript mixed_model.R SESSIONS.csv|SESSIONS.parquet INPUT.csv")
  input <- model_input(sessions_of(arguments[1]))
  write.csv(input, arguments[2], row.names = FALSE, na = "")
  can_fit <- sum(!is.na(input$excess_s)) > 10 && nlevels(input$participant) > 2
  if (!can_fit || !requireNamespace("nlme", quietly = TRUE)) {
    message("no model fitted: it takes the package nlme, three participants and more than ten sessions")
    return(invisible(input))
  }
  # Running beyond the prescribed by day since the first session, each participant with a level of their own.
  fit <- nlme::lme(excess_s ~ day, random = ~ 1 | participant, data = input, na.action = na.omit)
  print(round(nlme::fixef(fit), 3))
  invisible(input)
}

if (sys.nframe() == 0) main(commandArgs(trailingOnly = TRUE))
