"""Papers that go with coffee when it leaves."""
