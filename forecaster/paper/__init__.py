"""The paper: the same answers as a report to print, a work list and a calendar, for a fleet or for one owner."""
