"""Links that go bad in known ways: is the cause told apart, and as surely as is said?"""
