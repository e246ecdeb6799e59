"""The way of a sample on our side of the inbox: session, recorder, news, and the threads that drive them."""
