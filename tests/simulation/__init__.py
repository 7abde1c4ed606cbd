"""The second engine of the forecast: a shoot's life played out event by event, for tests to hold the first against.

It shares no code with `drill`: it reads a loaded studio's values, has its own calendar (`wallclock`, `days`), its own
effects of steps (`statuses`) and of what goes wrong (`blows`), and plays (`play`) or solves (`chain`) what follows.
Plain and slow where the program is quick. How an open question of the model was read is said where it is answered.
"""
